-- Work that was recorded with a visit since withdrawn, of a unit that goes.
SELECT s.service_id, s.work || ' on ' || s.done_on FROM service s
JOIN visit v ON v.visit_id = s.visit_id AND v.withdrawn
WHERE s.unit = ?;
