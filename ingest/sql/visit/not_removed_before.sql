-- Pumps in the place of this one that were there before it and are not marked removed, each with the day and
-- odometer at which the next was fitted.
WITH place AS (
    SELECT p.pump_id, p.fitted_on, p.removed_on, b.fitted_on AS mine,
        lead(p.fitted_on) OVER following AS off_on, lead(p.fitted_odometer_km) OVER following AS off_km
    FROM pump p
    JOIN pump b ON b.pump_id = ? AND p.unit = b.unit AND p.position = b.position
    WINDOW following AS (ORDER BY coalesce(p.fitted_on, DATE '0001-01-01'), p.pump_id)
)
SELECT pump_id, off_on, off_km FROM place
WHERE removed_on IS NULL AND off_on > coalesce(fitted_on, DATE '0001-01-01')
  AND mine > coalesce(fitted_on, DATE '0001-01-01')
ORDER BY off_on;
