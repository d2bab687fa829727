-- What is known of the visits of one pump, or of all: the server's own view, which is told the pump.
CREATE MACRO memory.main.visit_rows(of_pump) AS TABLE
SELECT * FROM {ledger}.visit_detail WHERE of_pump IS NULL OR pump_id = of_pump
