-- Visits read with a clamp on the days from `since` on and before `until`, those left out that were scaled
-- already when a question about a clamp was answered.
SELECT v.visit_id, v.visited_on, v.capture_hash, v.probe, coalesce(r.mean_a, v.meter_a) AS mean_a
FROM visit v
LEFT JOIN current_reading r USING (visit_id)
WHERE v.clamp = $clamp AND NOT v.withdrawn AND coalesce(r.mean_a, v.meter_a) IS NOT NULL
  AND ($since IS NULL OR v.visited_on >= $since) AND ($until IS NULL OR v.visited_on < $until)
  AND v.visit_id NOT IN (
    SELECT unnest(CAST(json_extract(details, '$.scaled.visits[*].visit_id') AS BIGINT[])) FROM question
    WHERE code IN ('clamp-shift', 'clamp-off') AND status = 'corrected'
  )
ORDER BY v.visited_on, v.visit_id;
