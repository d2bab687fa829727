-- The steps of the claim for one pump, the newest last.
SELECT * FROM claim_step WHERE pump_id = ? ORDER BY step_id
