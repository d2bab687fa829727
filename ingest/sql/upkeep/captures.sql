-- Every capture with the visit that holds it, or held it until its clamp's factor was put right, if any.
SELECT c.capture_hash, min(v.visit_id) AS visit_id, min(v.unit) AS unit, max(c.waveform_removed_on)
FROM capture c
LEFT JOIN (
    SELECT capture_hash, visit_id, unit FROM visit
    UNION
    SELECT r.capture_hash, v.visit_id, v.unit FROM reading r JOIN visit v USING (visit_id)
) v USING (capture_hash)
GROUP BY c.capture_hash ORDER BY c.capture_hash;
