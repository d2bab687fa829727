-- The picture of one note on where to clamp.
SELECT picture, picture_type FROM connection_note WHERE note_id = $note_id;
