-- What a visit says of how it was read, what was examined and what was found, and what a type must deliver.

ALTER TABLE pump_type ADD COLUMN poles INTEGER;
ALTER TABLE pump_type ADD COLUMN min_delivery_l_min DOUBLE;
COMMENT ON COLUMN pump_type.poles IS 'magnet poles of the motor, if known; most have 2';
COMMENT ON COLUMN pump_type.min_delivery_l_min IS 'least delivery of a good pump, L/min';
COMMENT ON COLUMN pump_type.fuel IS 'what it pumps, such as petrol, E10, diesel or LPG';

ALTER TABLE visit ADD COLUMN zero_checked VARCHAR;
ALTER TABLE visit ADD COLUMN probe VARCHAR;
ALTER TABLE visit ADD COLUMN channel VARCHAR;
ALTER TABLE visit ADD COLUMN commanded VARCHAR;
ALTER TABLE visit ADD COLUMN fuel VARCHAR;
ALTER TABLE visit ADD COLUMN supply_v_at VARCHAR;
ALTER TABLE visit ADD COLUMN delivery_at VARCHAR;
ALTER TABLE visit ADD COLUMN pressure_hold_kpa DOUBLE;
ALTER TABLE visit ADD COLUMN filter_state VARCHAR;
ALTER TABLE visit ADD COLUMN strainer VARCHAR;
ALTER TABLE visit ADD COLUMN hose VARCHAR;
ALTER TABLE visit ADD COLUMN regulator VARCHAR;
ALTER TABLE visit ADD COLUMN connector VARCHAR;
ALTER TABLE visit ADD COLUMN check_result VARCHAR;
ALTER TABLE visit ADD COLUMN closes VARCHAR;
COMMENT ON COLUMN visit.reason IS 'pm, follow-up, complaint, road-call or after-repair; only pm moves the maintenance clock';
COMMENT ON COLUMN visit.zero_checked IS 'yes: the clamp was zeroed before; no; empty: not told';
COMMENT ON COLUMN visit.probe IS 'the clamp''s factor as entered, such as 100mV/A; empty: as the file says';
COMMENT ON COLUMN visit.channel IS 'channel of the capture that holds the pump current; empty: found by itself';
COMMENT ON COLUMN visit.commanded IS 'speed asked of a two-speed supply: low or high';
COMMENT ON COLUMN visit.fuel IS 'fuel in the tank, as entered, such as E10';
COMMENT ON COLUMN visit.supply_v IS 'volts under load, read where supply_v_at says';
COMMENT ON COLUMN visit.supply_v_at IS 'pump (also meant where empty), battery or scan';
COMMENT ON COLUMN visit.delivery_at IS 'what delivery was measured against: pressure, or free flow; empty: not told';
COMMENT ON COLUMN visit.pressure_hold_kpa IS 'pressure still held some minutes after the pump stopped, kPa';
COMMENT ON COLUMN visit.filter_state IS 'the filter as examined: good, bad or not_reached';
COMMENT ON COLUMN visit.strainer IS 'the strainer as examined: good, bad or not_reached';
COMMENT ON COLUMN visit.hose IS 'the hose in the tank as examined: good, bad or not_reached';
COMMENT ON COLUMN visit.regulator IS 'the regulator as examined: good, bad or not_reached';
COMMENT ON COLUMN visit.connector IS 'the connector at the tank as examined: good, bad or not_reached';
COMMENT ON COLUMN visit.check_result IS 'what a check named: no_other_cause, circuit, filter, strainer, hose, regulator, fuel, clamp or not_reproduced';
COMMENT ON COLUMN visit.closes IS 'the visit whose complaint this one closes: its ref, else its number';

COMMENT ON COLUMN service.work IS 'filter, filter_kept (pump changed, old filter stayed), strainer, hose, regulator, connector, fuel, wiring, tank_cleaned or other';

CREATE OR REPLACE VIEW visit_detail AS
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
    r.origin, r.method_version, coalesce(r.mean_a, v.meter_a) AS mean_a, r.mean_a_se, r.min_a, r.max_a,
    r.ripple_a, r.ripple_pct, r.ripple_pct_se, r.raw_ripple_pct, r.revolution_ms, r.rpm, r.rpm_se,
    r.segments AS segments_found, r.speed_confidence, r.zero_a, r.sparks_per_s, r.weakest_segment,
    r.weakest_segment_z, r.strongest_segment, r.strongest_segment_z, r.sample_rate_hz,
    r.once_per_turn_pct, r.twice_per_turn_pct, r.speed_steadiness_pct, r.pwm_hz, r.segment_profile_pct,
    r.notes AS reading_notes,
    p.pump_type, p.serial, p.lot, p.run_share, p.fitted_on, p.fitted_odometer_km, p.removed_on, p.removal,
    t.motor, t.supply, t.fuel, t.segments, t.poles, t.current_low_a, t.current_high_a, t.spec_at_v, t.spec_at_kpa,
    t.ripple_limit_pct, t.rpm_low, t.rpm_high, t.rated_pressure_kpa, t.min_delivery_l_min, t.filter,
    c.make, c.model, c.year, c.class, c.depot, c.system_v, c.clock, c.pm_interval_days, c.pm_interval_km,
    (SELECT max(s.done_on) FROM service s
      WHERE s.unit = v.unit AND s.work = 'filter' AND s.done_on <= v.visited_on) AS filter_changed_on
FROM visit v
JOIN pump p USING (pump_id)
LEFT JOIN current_reading r USING (visit_id)
LEFT JOIN pump_type t ON t.pump_type = p.pump_type
LEFT JOIN vehicle c ON c.unit = v.unit
WHERE NOT v.withdrawn;
COMMENT ON VIEW visit_detail IS 'One row a visit that was not withdrawn, with its newest reading, pump, type and vehicle.';
