-- What now tells the unit of a file that waits without one.
UPDATE tray SET unit = $unit, position = $position, matched_by = $matched_by, reason = $reason, entry = $entry,
    captured_on = $captured_on, clamp = coalesce($clamp, clamp)
WHERE tray_id = $tray_id AND status = 'waiting' AND unit IS NULL;
