-- Pump types by how many captures bear out the segments told of the type, and how many contradict them.
SELECT t.pump_type, t.segments,
       count(*) FILTER (WHERE r.notes LIKE '%"segments-contradicted"%') AS contradicting,
       count(*) FILTER (WHERE r.rpm IS NOT NULL) AS bearing_out
FROM visit AS v
JOIN pump AS p USING (pump_id)
JOIN pump_type AS t USING (pump_type)
JOIN current_reading AS r USING (visit_id)
WHERE t.segments IS NOT NULL AND v.segments IS NULL AND r.origin = 'capture'
  AND ($pump_id IS NULL OR p.pump_type = (SELECT pump_type FROM pump WHERE pump_id = $pump_id))
GROUP BY t.pump_type, t.segments
HAVING count(*) FILTER (WHERE r.notes LIKE '%"segments-contradicted"%') >= $fewest
ORDER BY t.pump_type;
