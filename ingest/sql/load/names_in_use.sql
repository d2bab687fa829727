-- Depots and pump types by name, whatever their case and signs.
SELECT kind, list(DISTINCT name ORDER BY name) AS names
FROM (
    SELECT 'depot' AS kind, depot AS name FROM vehicle WHERE depot IS NOT NULL
    UNION ALL SELECT 'pump type', pump_type FROM pump_type
)
GROUP BY kind, regexp_replace(lower(name), '[^\p{L}\p{N}]', '', 'g')
HAVING count(DISTINCT name) > 1
ORDER BY ALL;
