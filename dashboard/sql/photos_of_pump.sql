-- The photos of one pump's visits that are kept, the newest visit first.
SELECT f.photo_id, f.shows, f.picture, v.visit_id, v.visited_on, v.clamp_point
FROM photo f
JOIN visit v USING (visit_id)
WHERE v.pump_id = $pump_id AND NOT v.withdrawn AND f.picture IS NOT NULL
ORDER BY v.visited_on DESC, v.visit_id DESC, f.shows DESC, f.photo_id
LIMIT 24
