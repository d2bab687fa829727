-- What a pump showed itself (medians of two values and more, of currents one is enough) and what its type is rated for.
SELECT
    nullif(t.rated_pressure_kpa, 0) AS rated_kpa, nullif(t.min_delivery_l_min, 0) AS min_l_min,
    nullif((t.rpm_low + t.rpm_high) / 2, 0) AS rated_rpm,
    o.own_kpa, o.own_l_min, o.own_temp_c, o.own_rpm, o.own_a, o.level_a
FROM pump p
LEFT JOIN pump_type t USING (pump_type)
CROSS JOIN (
    SELECT
        CASE WHEN count(fuel_pressure_kpa) >= 2 THEN median(fuel_pressure_kpa) END AS own_kpa,
        CASE WHEN count(delivery_l_min) >= 2 THEN median(delivery_l_min) END AS own_l_min,
        CASE WHEN count(fuel_temp_c) >= 2 THEN median(fuel_temp_c) END AS own_temp_c,
        CASE WHEN count(rpm) >= 2 THEN median(rpm) END AS own_rpm,
        CASE WHEN count(mean_a) >= 2 THEN median(mean_a) END AS own_a,
        median(mean_a) FILTER (mean_a > 0) AS level_a
    FROM visit_rows($pump_id) WHERE in_trend
) o
WHERE p.pump_id = $pump_id
