-- The pump in service in a position of a unit.
SELECT * FROM pump
WHERE unit = ? AND position = ? AND removed_on IS NULL
ORDER BY fitted_on DESC NULLS LAST, pump_id DESC
LIMIT 1
