-- A ledger of many pumps with some visits each, for speed studies of the pages (pages_speed.py).

INSERT INTO pump_type
    (pump_type, segments, current_low_a, current_high_a, ripple_limit_pct, rpm_low, rpm_high, recorded_at)
SELECT 'T-' || i, 8, 4, 7, 15, 4000, 7500, now() FROM range(4) t(i);

INSERT INTO vehicle (unit, depot, class, pm_interval_km, pm_interval_days, recorded_at)
SELECT printf('%06d', i), 'Depot ' || i % 20, CASE WHEN i % 3 = 0 THEN 'truck' ELSE 'van' END, 9000, 90, now()
FROM range($pumps) t(i);

INSERT INTO pump (pump_id, unit, pump_type, fitted_on, fitted_odometer_km, recorded_at)
SELECT 1 + i, printf('%06d', i), 'T-' || i % 4, DATE '2022-01-01' + CAST(i % 700 AS INTEGER), i % 60000, now()
FROM range($pumps) t(i);

INSERT INTO visit (visit_id, unit, pump_id, visited_on, odometer_km, odometer_unit, reason, state, supply_v,
    fuel_pressure_kpa, recorded_at)
SELECT row_number() OVER (), unit, pump_id, DATE '2025-01-01' + CAST(90 * k + pump_id % 60 AS INTEGER), 90000 + 9000 * k, 'km',
    'pm', 'idle', 13.5, 400, now()
FROM pump, range($visits) t(k);

-- Every fiftieth pump draws more and turns slower from visit to visit.
INSERT INTO reading (reading_id, visit_id, origin, method_version, mean_a, ripple_pct, rpm, recorded_at)
SELECT visit_id, visit_id, 'elsewhere', 1,
    5.2 + 0.3 * sin(visit_id) + CASE WHEN pump_id % 50 = 0 THEN 1.2 * (odometer_km - 90000) / 9000 ELSE 0 END,
    9 + sin(visit_id * 0.7) + CASE WHEN pump_id % 50 = 0 THEN 4 * (odometer_km - 90000) / 9000 ELSE 0 END,
    6000 + 200 * cos(visit_id) - CASE WHEN pump_id % 50 = 0 THEN 600 * (odometer_km - 90000) / 9000 ELSE 0 END,
    now()
FROM visit;

INSERT INTO pump (pump_id, unit, pump_type, fitted_on, fitted_odometer_km, removed_on, removed_odometer_km,
    removal, found, recorded_at)
SELECT $pumps + row_number() OVER (), unit, pump_type, DATE '2018-01-01', 0, fitted_on, greatest(fitted_odometer_km, 1000), 'failed', 'worn', now()
FROM pump WHERE pump_id % 40 = 0;

INSERT INTO breakdown (breakdown_id, unit, position, happened_on, odometer_km, pump_confirmed, cost, recorded_at)
SELECT row_number() OVER (), unit, 'main', removed_on, removed_odometer_km, 'yes', 1500, now() FROM pump WHERE removal = 'failed';

INSERT INTO service (service_id, unit, done_on, odometer_km, work, recorded_at)
SELECT row_number() OVER (), unit, DATE '2025-02-01', 91000, 'filter', now() FROM vehicle WHERE hash(unit) % 2 = 0;

INSERT INTO question (question_id, raised_at, table_name, row_key, unit, field, code, text)
SELECT row_number() OVER (), now(), 'visit', visit_id, unit, 'odometer', 'odometer-jump',
    'Unit ' || unit || ': the odometer jumped; is ' || odometer_km || ' km right?'
FROM visit WHERE visit_id % 500 = 0;

INSERT INTO bay_hours (depot, hours, recorded_at) SELECT DISTINCT depot, 40, now() FROM vehicle;

INSERT INTO booking (booking_id, pump_id, status, planned_on, decided_by, decided_at, recorded_at)
SELECT row_number() OVER (), pump_id, 'booked', DATE '2025-09-01' + CAST(pump_id % 40 AS INTEGER), 'AB', now(), now()
FROM pump WHERE removed_on IS NULL AND pump_id % 250 = 0;

UPDATE last_id SET id = CASE table_name
    WHEN 'pump' THEN (SELECT max(pump_id) FROM pump) WHEN 'visit' THEN (SELECT max(visit_id) FROM visit)
    WHEN 'reading' THEN (SELECT max(reading_id) FROM reading) WHEN 'service' THEN (SELECT max(service_id) FROM service)
    WHEN 'breakdown' THEN (SELECT max(breakdown_id) FROM breakdown)
    WHEN 'question' THEN (SELECT max(question_id) FROM question)
    WHEN 'booking' THEN (SELECT max(booking_id) FROM booking) ELSE id END;
