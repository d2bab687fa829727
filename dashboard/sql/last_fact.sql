-- The day of the newest fact about any pump: a visit, an odometer reading, a pump fitted or taken off. One dated
-- later than tomorrow is a slip, unless all are.
SELECT coalesce(max(day) FILTER (WHERE day <= current_date + 1), max(day)) AS last_fact_on
FROM (
    SELECT visited_on AS day FROM visit WHERE NOT withdrawn
    UNION ALL SELECT read_on FROM odometer
    UNION ALL SELECT fitted_on FROM pump
    UNION ALL SELECT removed_on FROM pump
);
