-- Visits whose newest reading of a capture is by this method or a later one, with the segments it was told, and
-- whether it left its speed open while none were told.
SELECT visit_id, segments,
    rpm IS NULL AND coalesce(notes::VARCHAR LIKE '%"segments_told": false%', false) AS open_untold
FROM current_reading
WHERE origin = 'capture' AND method_version >= ?;
