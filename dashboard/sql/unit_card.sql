-- What is known of one unit, one row for each pump now in place.
WITH past AS (SELECT * FROM visit WHERE unit = $unit AND NOT withdrawn),
told AS (
    SELECT pump_id, last(motor ORDER BY visited_on, visit_id) FILTER (motor IS NOT NULL) AS motor,
        last(supply ORDER BY visited_on, visit_id) FILTER (supply IS NOT NULL) AS supply,
        last(segments ORDER BY visited_on, visit_id) FILTER (segments IS NOT NULL) AS segments
    FROM past
    GROUP BY pump_id
)
SELECT
    c.unit, c.vin, c.year, c.make, c.model, c.engine, c.class, c.depot, c.pm_interval_km, c.pm_interval_days,
    p.pump_id, p.position, p.pump_type, p.serial, p.fitted_on, p.fitted_odometer_km, p.removal, p.found,
    coalesce(told.motor, t.motor) AS motor, coalesce(told.supply, t.supply) AS supply, t.fuel,
    coalesce(told.segments, t.segments) AS segments, t.current_low_a, t.current_high_a, t.spec_at_v, t.spec_at_kpa,
    t.ripple_limit_pct, t.rpm_low, t.rpm_high, t.rated_pressure_kpa, t.filter,
    (SELECT count(*) FROM past WHERE past.pump_id = p.pump_id) AS visits,
    (SELECT max(odometer_km) FROM past) AS last_odometer_km,
    (SELECT max(visited_on) FROM past) AS last_visited_on,
    (SELECT max(done_on) FROM service WHERE unit = $unit AND work = 'filter') AS filter_changed_on
FROM vehicle c
LEFT JOIN pump p ON p.unit = c.unit AND p.removed_on IS NULL
LEFT JOIN pump_type t ON t.pump_type = p.pump_type
LEFT JOIN told ON told.pump_id = p.pump_id
WHERE c.unit = $unit
ORDER BY p.position;
