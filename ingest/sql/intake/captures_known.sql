-- Captures that are a visit's, or in the tray: they need not be measured again.
SELECT capture_hash FROM visit WHERE capture_hash IS NOT NULL AND NOT withdrawn
UNION
SELECT r.capture_hash FROM reading r JOIN visit v USING (visit_id)
WHERE r.capture_hash IS NOT NULL AND NOT v.withdrawn
UNION
SELECT capture_hash FROM tray WHERE capture_hash IS NOT NULL AND status IN ('waiting', 'stored');
