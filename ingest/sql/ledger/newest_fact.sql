-- The day of the newest dated fact of any kind. One dated later than tomorrow is a slip, unless all are; NULL
-- while there is none.
SELECT coalesce(max(day) FILTER (WHERE day <= current_date + 1), max(day)) AS day
FROM (
    SELECT visited_on AS day FROM visit WHERE NOT withdrawn
    UNION ALL SELECT read_on FROM odometer
    UNION ALL SELECT fitted_on FROM pump
    UNION ALL SELECT removed_on FROM pump
    UNION ALL SELECT done_on FROM service
    UNION ALL SELECT happened_on FROM breakdown
);
