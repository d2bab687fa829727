-- The type of the pumps a position has had, where they agree.
SELECT unit, position, min(pump_type) AS pump_type FROM pump
WHERE pump_type <> 'unknown'
GROUP BY ALL
HAVING count(DISTINCT pump_type) = 1
