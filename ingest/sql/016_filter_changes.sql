-- The last change of filter by each visit, found in a join of its own: a search beside each row is one that the
-- engine makes for whole rows, every column of every visit, even where nobody asks for it.

CREATE OR REPLACE MACRO visit_rows(of_pump) AS TABLE
WITH newest AS (
    SELECT * FROM reading
    WHERE of_pump IS NULL OR visit_id IN (SELECT visit_id FROM visit WHERE pump_id = of_pump)
    QUALIFY row_number() OVER (PARTITION BY visit_id ORDER BY method_version DESC, reading_id DESC) = 1
),
filters AS (
    SELECT w.visit_id, max(s.done_on) AS filter_changed_on
    FROM visit w
    JOIN service s ON s.unit = w.unit AND s.done_on <= w.visited_on
    WHERE s.work = 'filter' AND (of_pump IS NULL OR w.pump_id = of_pump)
    GROUP BY w.visit_id
)
SELECT
    v.visit_id, v.pump_id, v.unit, v.position, v.visited_on, v.visited_at, v.odometer_km, v.hours,
    p.prior_distance_km + CASE WHEN v.odometer_km < p.fitted_odometer_km THEN 0
        ELSE v.odometer_km - p.fitted_odometer_km END * p.run_share AS distance_on_pump_km,
    v.hours - p.fitted_hours AS hours_on_pump,
    v.reason, v.state, v.clamp, v.clamp_point, v.technician, v.note, v.in_trend, v.withdrawn, v.recorded_at,
    v.capture_hash, v.meter_a, v.supply_v, v.drop_supply_v, v.drop_ground_v, v.fuel_pressure_kpa,
    v.delivery_l_min, v.fuel_temp_c, v.fuel_level_pct, v.duty_pct,
    v.ref, v.zero_checked, v.probe, v.channel, v.commanded, v.fuel AS fuel_in_tank, v.supply_v_at, v.delivery_at,
    v.pressure_hold_kpa, v.filter_state, v.strainer, v.hose, v.regulator, v.connector, v.check_result, v.closes,
    r.origin, r.method_version, coalesce(r.mean_a, v.meter_a) AS mean_a, r.mean_a_se, r.mean_a_accuracy_a, r.min_a, r.max_a,
    r.ripple_a, r.ripple_pct, r.ripple_pct_se, r.raw_ripple_pct, r.revolution_ms, r.rpm, r.rpm_se,
    r.segments AS segments_found, r.speed_confidence, r.zero_a, r.sparks_per_s, r.weakest_segment,
    r.weakest_segment_z, r.strongest_segment, r.strongest_segment_z, r.sample_rate_hz,
    r.once_per_turn_pct, r.twice_per_turn_pct, r.speed_steadiness_pct, r.pwm_hz, r.segment_profile_pct,
    r.notes AS reading_notes,
    p.pump_type, p.serial, p.lot, p.run_share, p.fitted_on, p.fitted_odometer_km, p.removed_on, p.removal,
    coalesce(v.motor, t.motor) AS motor, coalesce(v.supply, t.supply) AS supply, t.fuel,
    coalesce(v.segments, t.segments) AS segments, coalesce(v.poles, t.poles) AS poles, t.current_low_a, t.current_high_a, t.spec_at_v, t.spec_at_kpa,
    t.ripple_limit_pct, t.rpm_low, t.rpm_high, t.rated_pressure_kpa, t.min_delivery_l_min, t.filter,
    c.make, c.model, c.year, c.class, c.depot, c.system_v, c.clock, c.pm_interval_days, c.pm_interval_km,
    f.filter_changed_on
FROM visit v
JOIN pump p USING (pump_id)
LEFT JOIN newest r USING (visit_id)
LEFT JOIN pump_type t ON t.pump_type = p.pump_type
LEFT JOIN vehicle c ON c.unit = v.unit
LEFT JOIN filters f ON f.visit_id = v.visit_id
WHERE NOT v.withdrawn AND (of_pump IS NULL OR v.pump_id = of_pump);

CREATE OR REPLACE VIEW visit_detail AS SELECT * FROM visit_rows(NULL);
COMMENT ON VIEW visit_detail IS 'One row a visit that was not withdrawn, with its newest reading, pump, type and vehicle.';
