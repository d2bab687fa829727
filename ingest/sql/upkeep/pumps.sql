-- Every pump on record.
SELECT pump_id FROM pump;
