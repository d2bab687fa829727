-- What visits show that may be in another unit, beside the medians of each pump's own (NULL of fewer than three)
-- and what its type is rated for. Only visits with a value far from usual.
WITH shown AS (
    SELECT
        visit_id, pump_id, fuel_pressure_kpa, delivery_l_min, fuel_temp_c,
        CASE WHEN origin = 'elsewhere' THEN rpm END AS rpm,
        mean_a, supply_v, supply_v_at, drop_supply_v, drop_ground_v, system_v,
        nullif(rated_pressure_kpa, 0) AS rated_kpa, nullif(min_delivery_l_min, 0) AS min_l_min,
        nullif((rpm_low + rpm_high) / 2, 0) AS rated_rpm
    FROM visit_detail
),
own AS (
    SELECT
        pump_id,
        CASE WHEN count(fuel_pressure_kpa) >= 3 THEN median(fuel_pressure_kpa) END AS own_kpa,
        CASE WHEN count(delivery_l_min) >= 3 THEN median(delivery_l_min) END AS own_l_min,
        CASE WHEN count(fuel_temp_c) >= 3 THEN median(fuel_temp_c) END AS own_temp_c,
        CASE WHEN count(rpm) >= 3 THEN median(rpm) END AS own_rpm,
        CASE WHEN count(mean_a) >= 3 THEN median(mean_a) END AS own_a
    FROM shown
    GROUP BY pump_id
)
SELECT *
FROM shown
JOIN own USING (pump_id)
WHERE fuel_pressure_kpa < 0.4 * greatest(rated_kpa, own_kpa)
    OR delivery_l_min > 4 * coalesce(own_l_min, 1.5 * min_l_min, 7.5)
    OR fuel_temp_c >= 45
    OR rpm / coalesce(own_rpm, rated_rpm, $usual_rpm) NOT BETWEEN 0.25 AND 4
    OR greatest(drop_supply_v, drop_ground_v) >= 0.5 * supply_v
ORDER BY visit_id
