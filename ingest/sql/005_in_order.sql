-- What came later is told by numbers that the ledger gives, not by clocks, which can be set back.

CREATE TABLE setting_as_it_was AS SELECT * FROM setting;
DROP TABLE setting;
CREATE TABLE setting (
    setting_id BIGINT PRIMARY KEY, key VARCHAR NOT NULL, value JSON NOT NULL,
    valid_from DATE NOT NULL DEFAULT DATE '1900-01-01', set_by VARCHAR, recorded_at TIMESTAMP NOT NULL
);
INSERT INTO setting BY NAME
SELECT *, row_number() OVER (ORDER BY recorded_at, valid_from, key) AS setting_id FROM setting_as_it_was;
DROP TABLE setting_as_it_was;
INSERT INTO last_id SELECT 'setting', coalesce(max(setting_id), 0) FROM setting;

COMMENT ON TABLE setting IS 'What alters figures and is not a fact about a vehicle: dated, with who and when.';
COMMENT ON COLUMN setting.setting_id IS 'number of the entry: of two from the same day on, the higher holds';
COMMENT ON COLUMN setting.valid_from IS 'first day it holds';
COMMENT ON COLUMN setting.recorded_at IS 'when the row became known, UTC';

ALTER TABLE question ADD COLUMN answered_after BIGINT;
COMMENT ON COLUMN question.answered_after IS 'the last change_id when it was answered; a load that changes the row later asks anew';
