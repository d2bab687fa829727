-- One decision about a pump.
INSERT INTO booking
    (booking_id, pump_id, status, planned_on, reason, risk, expected_saving, decided_by, decided_at, recorded_at)
VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
