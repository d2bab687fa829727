-- Of every pump that has a capture whose newest reading is by an older method, or by other segments than are
-- told now, or left its speed open while none were told: all visits in order, those captures marked, with what
-- is known before a capture is measured. What was told at a visit goes before what its type says.
WITH due AS (
    SELECT v.visit_id, v.pump_id
    FROM visit v
    JOIN pump p USING (pump_id)
    LEFT JOIN pump_type t USING (pump_type)
    WHERE v.capture_hash IS NOT NULL
      AND NOT EXISTS (
          SELECT 1 FROM current_reading r
          WHERE r.visit_id = v.visit_id AND r.origin = 'capture' AND r.method_version >= $method_version
            AND coalesce(r.segments = coalesce(v.segments, t.segments), true)
            AND NOT (r.rpm IS NULL AND coalesce(v.segments, t.segments) IS NOT NULL
                AND r.notes::VARCHAR LIKE '%"segments_told": false%')
      )
)
SELECT v.visit_id, v.pump_id, v.unit, v.visited_on, v.capture_hash, due.visit_id IS NOT NULL AS is_due,
    v.state, v.supply_v, v.commanded, v.duty_pct,
    coalesce(v.motor, t.motor, 'brushed') AS motor, coalesce(v.supply, t.supply) AS supply,
    coalesce(v.segments, t.segments) AS segments, coalesce(v.poles, t.poles) AS poles, t.rpm_low, t.rpm_high,
    d.rpm, v.in_trend AND NOT v.withdrawn AS in_trend
FROM visit v
JOIN pump p USING (pump_id)
LEFT JOIN pump_type t USING (pump_type)
LEFT JOIN due ON due.visit_id = v.visit_id
LEFT JOIN visit_detail d ON d.visit_id = v.visit_id
WHERE v.pump_id IN (SELECT pump_id FROM due)
ORDER BY v.pump_id, v.visited_on, v.visit_id;
