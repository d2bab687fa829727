-- Visits whose newest reading of a capture is by this method or a later one, with the segments it was told.
SELECT visit_id, segments FROM current_reading WHERE origin = 'capture' AND method_version >= ?;
