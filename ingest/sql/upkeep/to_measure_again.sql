-- Visits with a capture whose newest reading of it is by an older method, in order of time.
SELECT v.visit_id, v.pump_id, v.unit, v.visited_on, v.capture_hash, v.state, v.supply_v, v.commanded, v.duty_pct,
    v.motor, v.supply, v.segments, v.poles
FROM visit v
WHERE v.capture_hash IS NOT NULL
  AND NOT EXISTS (
      SELECT 1 FROM reading r
      WHERE r.visit_id = v.visit_id AND r.origin = 'capture' AND r.method_version >= $method_version
  )
ORDER BY v.visited_on, v.visit_id;
