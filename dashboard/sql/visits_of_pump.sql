-- All visits of one pump, oldest first, with the columns of visit_detail and where each run had settled.
WITH settled AS (
    SELECT visit_id, steady_from_s, steady_to_s FROM reading
    WHERE visit_id IN (SELECT visit_id FROM visit WHERE pump_id = $pump_id)
    QUALIFY row_number() OVER (PARTITION BY visit_id ORDER BY method_version DESC, reading_id DESC) = 1
)
SELECT v.*, s.steady_from_s, s.steady_to_s
FROM visit_rows($pump_id) v
LEFT JOIN settled s USING (visit_id)
ORDER BY v.visited_on, v.visit_id;
