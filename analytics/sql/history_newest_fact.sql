-- The day of the newest dated fact of any kind; NULL while there is none.
SELECT max(day) AS day
FROM (
    SELECT max(visited_on) AS day FROM visit WHERE NOT withdrawn
    UNION ALL SELECT max(read_on) FROM odometer
    UNION ALL SELECT max(fitted_on) FROM pump
    UNION ALL SELECT max(removed_on) FROM pump
    UNION ALL SELECT max(done_on) FROM service
    UNION ALL SELECT max(happened_on) FROM breakdown
)
