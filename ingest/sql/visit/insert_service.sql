INSERT INTO service (service_id, unit, done_on, odometer_km, work, visit_id, recorded_at)
VALUES ($service_id, $unit, $done_on, $odometer_km, $work, $visit_id, $recorded_at);
