UPDATE tray SET status = $status, visit_id = coalesce($visit_id, visit_id), reason = coalesce($reason, reason), taken_by = $by
WHERE tray_id = $tray_id;
