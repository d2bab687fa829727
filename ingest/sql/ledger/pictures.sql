SELECT note_id, picture FROM connection_note WHERE picture IS NOT NULL
