-- The day of the newest fact about any pump: a visit, an odometer reading, a pump fitted or taken off.
SELECT greatest(
    (SELECT max(visited_on) FROM visit WHERE NOT withdrawn),
    (SELECT max(read_on) FROM odometer),
    (SELECT max(fitted_on) FROM pump),
    (SELECT max(removed_on) FROM pump)
) AS last_fact_on;
