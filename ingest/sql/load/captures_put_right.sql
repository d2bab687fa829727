-- Samples that a visit held until its clamp's factor was put right, each with those it holds since.
SELECT DISTINCT r.capture_hash AS was, v.capture_hash AS is_now
FROM reading r JOIN visit v USING (visit_id)
WHERE r.capture_hash <> v.capture_hash AND NOT v.withdrawn;
