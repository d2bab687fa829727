-- The pump last taken off a unit since a day, where nobody has said what was found in it.
SELECT pump_id, position, pump_type, serial, removed_on, removal
FROM pump
WHERE unit = $unit AND removed_on >= $since AND found IS NULL
ORDER BY removed_on DESC LIMIT 1;
