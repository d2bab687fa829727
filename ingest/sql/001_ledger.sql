-- The ledger. Distances in km, currents in A, pressures in kPa, temperatures in deg C, volts in V.
-- `recorded_at` (UTC) is when a row became known; the other dates say when the thing happened.
-- `ref` is the source's own row id, when it had one.

CREATE SEQUENCE pump_seq;
CREATE SEQUENCE visit_seq;
CREATE SEQUENCE reading_seq;
CREATE SEQUENCE service_seq;
CREATE SEQUENCE breakdown_seq;
CREATE SEQUENCE note_seq;
CREATE SEQUENCE fit_seq;
CREATE SEQUENCE list_seq;
CREATE SEQUENCE booking_seq;
CREATE SEQUENCE cost_seq;
CREATE SEQUENCE question_seq;
CREATE SEQUENCE change_seq;

CREATE TABLE vehicle (
    unit VARCHAR PRIMARY KEY,
    vin VARCHAR,
    year INTEGER,
    make VARCHAR,
    model VARCHAR,
    engine VARCHAR,
    class VARCHAR,
    depot VARCHAR,
    system_v DOUBLE DEFAULT 12,
    in_service_on DATE,
    records_from DATE,
    retires_on DATE,
    pm_interval_km DOUBLE,
    pm_interval_days INTEGER,
    pm_interval_hours DOUBLE,
    job_hours DOUBLE,
    clock VARCHAR DEFAULT 'distance',          -- distance | hours: what drives life and interval
    ref VARCHAR,
    recorded_at TIMESTAMP NOT NULL
);

CREATE TABLE pump_type (
    pump_type VARCHAR PRIMARY KEY,
    motor VARCHAR DEFAULT 'brushed',           -- brushed | brushless
    supply VARCHAR DEFAULT 'direct',           -- direct | two-speed | pwm
    fuel VARCHAR,
    segments INTEGER,
    current_low_a DOUBLE,
    current_high_a DOUBLE,
    spec_at_v DOUBLE,
    spec_at_kpa DOUBLE,
    ripple_limit_pct DOUBLE,
    rpm_low DOUBLE,
    rpm_high DOUBLE,
    rated_pressure_kpa DOUBLE,
    filter VARCHAR DEFAULT 'module',           -- inline | module | none
    lead_time_days DOUBLE,
    price DOUBLE,
    warranty_months DOUBLE,
    warranty_distance_km DOUBLE,
    spec_source VARCHAR,
    ref VARCHAR,
    recorded_at TIMESTAMP NOT NULL
);

-- One life: one physical pump in one position of one unit, from fitting to removal.
CREATE TABLE pump (
    pump_id BIGINT PRIMARY KEY DEFAULT nextval('pump_seq'),
    unit VARCHAR NOT NULL,
    position VARCHAR NOT NULL DEFAULT 'main',
    pump_type VARCHAR NOT NULL,
    serial VARCHAR,
    lot VARCHAR,
    run_share DOUBLE DEFAULT 1,                -- share of the unit's distance this pump runs
    fitted_on DATE,                            -- NULL: unknown
    fitted_odometer_km DOUBLE,
    fitted_hours DOUBLE,
    prior_distance_km DOUBLE DEFAULT 0,        -- run before this fitting (a pump moved here)
    continues_pump_id BIGINT,                  -- the life before the move
    removed_on DATE,                           -- NULL: in service
    removed_odometer_km DOUBLE,
    removed_hours DOUBLE,
    removal VARCHAR,                           -- failed | on_condition | opportunity | other
    found VARCHAR,                             -- worn | seized | electrical | tested_good | not_examined
    failure_mode VARCHAR,                      -- ISO 14224: how it failed
    failure_mechanism VARCHAR,                 -- ISO 14224: by what process
    cause VARCHAR,                             -- ISO 14224: why
    cost DOUBLE,
    claim VARCHAR,
    ref VARCHAR,
    recorded_at TIMESTAMP NOT NULL
);

-- One waveform; the identity is the hash of its samples. The Parquet file lies in the folder beside the ledger.
CREATE TABLE capture (
    capture_hash VARCHAR PRIMARY KEY,
    file_name VARCHAR,
    channel VARCHAR,
    sample_rate_hz DOUBLE NOT NULL,
    samples BIGINT NOT NULL,
    start_s DOUBLE,
    stored_as VARCHAR NOT NULL,                -- int16 | int32 | float32 | float64
    scale_a DOUBLE,
    offset_a DOUBLE,
    captured_at TIMESTAMP,
    notes JSON,
    recorded_at TIMESTAMP NOT NULL
);

CREATE TABLE visit (
    visit_id BIGINT PRIMARY KEY DEFAULT nextval('visit_seq'),
    unit VARCHAR NOT NULL,
    position VARCHAR NOT NULL DEFAULT 'main',
    pump_id BIGINT NOT NULL,
    visited_on DATE NOT NULL,                  -- local date
    visited_at TIMESTAMP,                      -- UTC, when known
    time_zone VARCHAR,
    odometer_km DOUBLE,                        -- as used
    odometer_entered DOUBLE,                   -- as entered, in odometer_unit
    odometer_unit VARCHAR,                     -- mi | km
    hours DOUBLE,
    reason VARCHAR NOT NULL DEFAULT 'pm',      -- pm | complaint | road-call | after-repair
    state VARCHAR,                             -- prime | idle | loaded
    capture_hash VARCHAR,
    meter_a DOUBLE,
    supply_v DOUBLE,
    drop_supply_v DOUBLE,
    drop_ground_v DOUBLE,
    fuel_pressure_kpa DOUBLE,
    delivery_l_min DOUBLE,
    fuel_temp_c DOUBLE,
    fuel_level_pct DOUBLE,
    duty_pct DOUBLE,
    clamp VARCHAR,
    clamp_point VARCHAR,
    technician VARCHAR,
    note VARCHAR,
    in_trend BOOLEAN NOT NULL DEFAULT TRUE,    -- FALSE while an open question keeps it out
    withdrawn BOOLEAN NOT NULL DEFAULT FALSE,  -- set by a person, with a change_log entry
    ref VARCHAR,
    recorded_at TIMESTAMP NOT NULL
);

-- Metrics of a visit. A reanalysis adds a row with a higher method_version; nothing is overwritten.
CREATE TABLE reading (
    reading_id BIGINT PRIMARY KEY DEFAULT nextval('reading_seq'),
    visit_id BIGINT NOT NULL,
    capture_hash VARCHAR,
    origin VARCHAR NOT NULL,                   -- capture | meter | elsewhere
    method_version INTEGER NOT NULL,
    mean_a DOUBLE, mean_a_se DOUBLE, mean_a_accuracy_a DOUBLE, min_a DOUBLE, max_a DOUBLE,
    ripple_a DOUBLE, ripple_pct DOUBLE, ripple_pct_se DOUBLE, raw_ripple_pct DOUBLE,
    revolution_ms DOUBLE, rpm DOUBLE, rpm_se DOUBLE,
    segments INTEGER, speed_confidence DOUBLE, pattern_repeat_ms DOUBLE,
    sample_rate_hz DOUBLE, duration_s DOUBLE, steady_from_s DOUBLE, steady_to_s DOUBLE, turns DOUBLE,
    zero_a DOUBLE, inrush_peak_a DOUBLE, settling_ms DOUBLE,
    segment_profile_pct DOUBLE[],
    weakest_segment INTEGER, weakest_segment_z DOUBLE, strongest_segment INTEGER, strongest_segment_z DOUBLE,
    once_per_turn_pct DOUBLE, twice_per_turn_pct DOUBLE, sparks_per_s DOUBLE, speed_steadiness_pct DOUBLE,
    pwm_hz DOUBLE,
    speed_candidates JSON,
    notes JSON,
    recorded_at TIMESTAMP NOT NULL
);

CREATE TABLE service (
    service_id BIGINT PRIMARY KEY DEFAULT nextval('service_seq'),
    unit VARCHAR NOT NULL,
    done_on DATE NOT NULL,
    odometer_km DOUBLE,
    work VARCHAR NOT NULL,                     -- filter | wiring | tank_cleaned | other
    note VARCHAR,
    visit_id BIGINT,
    ref VARCHAR,
    recorded_at TIMESTAMP NOT NULL
);

CREATE TABLE breakdown (
    breakdown_id BIGINT PRIMARY KEY DEFAULT nextval('breakdown_seq'),
    unit VARCHAR NOT NULL,
    position VARCHAR,
    happened_on DATE NOT NULL,
    odometer_km DOUBLE,
    pump_confirmed VARCHAR NOT NULL DEFAULT 'unknown',  -- yes | no | unknown; only yes trains pump failure
    cost DOUBLE,
    note VARCHAR,
    ref VARCHAR,
    recorded_at TIMESTAMP NOT NULL
);

CREATE TABLE odometer (
    unit VARCHAR NOT NULL,
    read_on DATE NOT NULL,
    odometer_km DOUBLE NOT NULL,
    source VARCHAR NOT NULL DEFAULT 'reading', -- reading | cluster-replaced (odometer_km is the new cluster's)
    ref VARCHAR,
    recorded_at TIMESTAMP NOT NULL
);

-- Where to clamp on this kind of vehicle.
CREATE TABLE connection_note (
    note_id BIGINT PRIMARY KEY DEFAULT nextval('note_seq'),
    make VARCHAR, model VARCHAR, engine VARCHAR, year_from INTEGER, year_to INTEGER,
    clamp_point VARCHAR, fuse VARCHAR, access VARCHAR, note VARCHAR,
    picture BLOB, picture_type VARCHAR,
    recorded_at TIMESTAMP NOT NULL
);

CREATE TABLE stock (
    depot VARCHAR NOT NULL, pump_type VARCHAR NOT NULL, on_hand INTEGER NOT NULL,
    ref VARCHAR, recorded_at TIMESTAMP NOT NULL, PRIMARY KEY (depot, pump_type)
);
CREATE TABLE bay_hours (
    depot VARCHAR NOT NULL, week_of DATE, hours DOUBLE NOT NULL,  -- week_of: its Monday; NULL = every week
    ref VARCHAR, recorded_at TIMESTAMP NOT NULL
);
CREATE TABLE due_work (
    unit VARCHAR NOT NULL, due_on DATE NOT NULL, work VARCHAR NOT NULL, hours DOUBLE,
    ref VARCHAR, recorded_at TIMESTAMP NOT NULL
);

-- Everything that alters figures and is not a fact about a vehicle: dated, with who and when.
CREATE TABLE setting (
    key VARCHAR NOT NULL, value JSON NOT NULL, valid_from DATE NOT NULL DEFAULT DATE '1900-01-01',
    set_by VARCHAR, recorded_at TIMESTAMP NOT NULL
);
CREATE TABLE cost_entry (
    cost_id BIGINT PRIMARY KEY DEFAULT nextval('cost_seq'),
    element VARCHAR NOT NULL, amount DOUBLE NOT NULL, currency VARCHAR, class VARCHAR, depot VARCHAR,
    valid_from DATE NOT NULL DEFAULT DATE '1900-01-01', source VARCHAR, confirmed BOOLEAN NOT NULL DEFAULT FALSE,
    set_by VARCHAR, recorded_at TIMESTAMP NOT NULL
);

CREATE TABLE fit (
    fit_id BIGINT PRIMARY KEY DEFAULT nextval('fit_seq'),
    fitted_at TIMESTAMP NOT NULL, data_from DATE, data_until DATE NOT NULL, method_version INTEGER NOT NULL,
    pumps INTEGER, visits INTEGER, failures INTEGER, parameters JSON NOT NULL
);
-- One line of one replacement list; the newest list_id is the current plan.
CREATE TABLE plan_list (
    list_id BIGINT PRIMARY KEY DEFAULT nextval('list_seq'),
    made_at TIMESTAMP NOT NULL, as_of DATE NOT NULL, made_by VARCHAR, expected_saving DOUBLE, lines JSON NOT NULL
);
-- A person's decision about one pump: booked, pinned to a day, or rejected with a reason.
CREATE TABLE booking (
    booking_id BIGINT PRIMARY KEY DEFAULT nextval('booking_seq'),
    pump_id BIGINT NOT NULL, status VARCHAR NOT NULL,  -- booked | pinned | rejected | done | withdrawn
    planned_on DATE, reason VARCHAR, risk DOUBLE, expected_saving DOUBLE, decided_by VARCHAR,
    decided_at TIMESTAMP NOT NULL, recorded_at TIMESTAMP NOT NULL
);

-- An open question about the data, for a person to answer.
CREATE TABLE question (
    question_id BIGINT PRIMARY KEY DEFAULT nextval('question_seq'),
    raised_at TIMESTAMP NOT NULL, table_name VARCHAR NOT NULL, row_key VARCHAR NOT NULL, unit VARCHAR,
    field VARCHAR, code VARCHAR NOT NULL, text VARCHAR NOT NULL,
    status VARCHAR NOT NULL DEFAULT 'open',    -- open | confirmed | corrected | dismissed
    answer VARCHAR, answered_by VARCHAR, answered_at TIMESTAMP
);
CREATE TABLE change_log (
    change_id BIGINT PRIMARY KEY DEFAULT nextval('change_seq'),
    changed_at TIMESTAMP NOT NULL, changed_by VARCHAR, command VARCHAR, table_name VARCHAR NOT NULL,
    row_key VARCHAR NOT NULL, field VARCHAR, old_value VARCHAR, new_value VARCHAR, reason VARCHAR
);

-- The newest reading of each visit.
CREATE VIEW current_reading AS
SELECT * FROM reading
QUALIFY row_number() OVER (PARTITION BY visit_id ORDER BY method_version DESC, reading_id DESC) = 1;

-- One row per visit with its newest reading, its pump, type and vehicle: what analytics and pages read.
CREATE VIEW visit_detail AS
SELECT
    v.visit_id, v.pump_id, v.unit, v.position, v.visited_on, v.visited_at, v.odometer_km, v.hours,
    p.prior_distance_km + CASE WHEN v.odometer_km < p.fitted_odometer_km THEN 0
        ELSE v.odometer_km - p.fitted_odometer_km END * p.run_share AS distance_on_pump_km,
    v.hours - p.fitted_hours AS hours_on_pump,
    v.reason, v.state, v.clamp, v.clamp_point, v.technician, v.note, v.in_trend, v.withdrawn, v.recorded_at,
    v.capture_hash, v.meter_a, v.supply_v, v.drop_supply_v, v.drop_ground_v, v.fuel_pressure_kpa,
    v.delivery_l_min, v.fuel_temp_c, v.fuel_level_pct, v.duty_pct,
    r.origin, r.method_version, coalesce(r.mean_a, v.meter_a) AS mean_a, r.mean_a_se, r.min_a, r.max_a,
    r.ripple_a, r.ripple_pct, r.ripple_pct_se, r.raw_ripple_pct, r.revolution_ms, r.rpm, r.rpm_se,
    r.segments AS segments_found, r.speed_confidence, r.zero_a, r.sparks_per_s, r.weakest_segment_z,
    r.once_per_turn_pct, r.twice_per_turn_pct, r.speed_steadiness_pct, r.pwm_hz, r.segment_profile_pct,
    r.notes AS reading_notes,
    p.pump_type, p.serial, p.lot, p.run_share, p.fitted_on, p.fitted_odometer_km, p.removed_on, p.removal,
    t.motor, t.supply, t.fuel, t.segments, t.current_low_a, t.current_high_a, t.spec_at_v, t.spec_at_kpa,
    t.ripple_limit_pct, t.rpm_low, t.rpm_high, t.rated_pressure_kpa, t.filter,
    c.make, c.model, c.year, c.class, c.depot, c.system_v, c.clock, c.pm_interval_days, c.pm_interval_km,
    (SELECT max(s.done_on) FROM service s
      WHERE s.unit = v.unit AND s.work = 'filter' AND s.done_on <= v.visited_on) AS filter_changed_on
FROM visit v
JOIN pump p USING (pump_id)
LEFT JOIN current_reading r USING (visit_id)
LEFT JOIN pump_type t ON t.pump_type = p.pump_type
LEFT JOIN vehicle c ON c.unit = v.unit
WHERE NOT v.withdrawn;
