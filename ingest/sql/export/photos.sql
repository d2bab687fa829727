-- The photos that are kept.
SELECT visit_id, photo_id, picture FROM photo WHERE picture IS NOT NULL ORDER BY photo_id
