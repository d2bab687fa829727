-- The photos of one visit that are kept.
SELECT photo_id, shows, picture FROM photo
WHERE visit_id = $visit_id AND picture IS NOT NULL
ORDER BY shows DESC, photo_id
