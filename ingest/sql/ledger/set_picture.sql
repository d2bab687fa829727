UPDATE connection_note SET picture = ? WHERE note_id = ?
