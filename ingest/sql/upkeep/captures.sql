-- Every capture with the visit that holds it, if any.
SELECT c.capture_hash, min(v.visit_id) AS visit_id, min(v.unit) AS unit, max(c.waveform_removed_on)
FROM capture c LEFT JOIN visit v USING (capture_hash)
GROUP BY c.capture_hash ORDER BY c.capture_hash;
