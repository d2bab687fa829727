-- The lives at one place of a unit that have ended, or that of one serial number, the newest first.
SELECT p.pump_id, p.serial, p.removed_on FROM pump p
WHERE p.unit = $unit AND ($position IS NULL OR p.position = $position) AND ($serial IS NULL OR p.serial = $serial)
    AND p.removed_on IS NOT NULL
ORDER BY p.removed_on DESC, p.pump_id DESC
