-- Every note on where to clamp, without its picture.
SELECT note_id, make, model, engine, year_from, year_to, clamp_point, fuse, access, note,
    picture IS NOT NULL AS pictured
FROM connection_note ORDER BY make, model, engine, year_from, note_id;
