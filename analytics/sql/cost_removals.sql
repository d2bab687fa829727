-- Every pump taken off up to the as-of date (parameter 1), with what it is said to have cost.
SELECT p.pump_id, p.removed_on, p.removal, p.found, p.cost, p.pump_type, c.class, c.depot, c.job_hours
FROM pump p
LEFT JOIN vehicle c USING (unit)
WHERE p.removed_on <= ?
ORDER BY p.removed_on, p.pump_id
