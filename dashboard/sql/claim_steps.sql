-- The steps of the claim for one pump, oldest first.
SELECT state, stated_on, stated_by, amount, note FROM claim_step WHERE pump_id = $pump_id ORDER BY step_id
