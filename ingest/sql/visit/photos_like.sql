-- Photos of a visit so far: how many, and the number of the one with the same bytes.
SELECT count(*), max(photo_id) FILTER (picture_hash = $picture_hash) FROM photo WHERE visit_id = $visit_id
