-- The values the lists can be narrowed to.
SELECT 'depot' AS field, depot AS value FROM vehicle WHERE depot IS NOT NULL GROUP BY ALL
UNION ALL SELECT 'class', class FROM vehicle WHERE class IS NOT NULL GROUP BY ALL
UNION ALL SELECT 'pump_type', pump_type FROM pump_type GROUP BY ALL
ORDER BY ALL;
