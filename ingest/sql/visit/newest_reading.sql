-- What the newest reading of a visit says of its current, and its notes.
SELECT ripple_a, notes FROM current_reading WHERE visit_id = ?
