-- The pump a visit belongs to. On the day of a change, without a serial, that is the pump taken off, unless
-- the capture was made after the repair. A serial is not taken for that of a pump seen before whose own nobody
-- knows, unless it was said to be the same one: it may have been changed.
SELECT pump_id
FROM pump
WHERE unit = $unit
  AND position = $position
  AND ($serial IS NULL OR serial = $serial OR (serial IS NULL AND ($same_pump OR NOT EXISTS (
        SELECT 1 FROM visit v
        WHERE v.pump_id = pump.pump_id AND NOT v.withdrawn AND v.visited_on < $visited_on))))
  AND (fitted_on IS NULL OR fitted_on <= $visited_on)
  AND (removed_on IS NULL OR removed_on >= $visited_on)
ORDER BY
    coalesce(serial = $serial, FALSE) DESC,
    (removed_on IS NOT NULL) = ($reason <> 'after-repair') DESC,
    removed_on NULLS LAST,
    fitted_on DESC NULLS LAST,
    pump_id DESC
LIMIT 1;
