INSERT INTO service (unit, done_on, odometer_km, work, visit_id, recorded_at)
VALUES ($unit, $done_on, $odometer_km, $work, $visit_id, $recorded_at);
