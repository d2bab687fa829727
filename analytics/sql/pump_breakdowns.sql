-- Breakdowns confirmed as the pump's up to a day (parameter 1), by the pump that was fitted then.
SELECT p.pump_id, max(b.happened_on) AS happened_on
FROM breakdown b
JOIN pump p ON p.unit = b.unit AND (b.position IS NULL OR b.position = p.position)
WHERE b.pump_confirmed = 'yes' AND b.happened_on <= ?
  AND b.happened_on >= coalesce(p.fitted_on, DATE '0001-01-01')
  AND (p.removed_on IS NULL OR p.removed_on > b.happened_on)
  -- On the day of a change the pump that broke down is the one taken off.
  AND b.happened_on IS DISTINCT FROM p.fitted_on
GROUP BY ALL
