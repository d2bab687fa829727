-- Two pumps in one place at one time: (unit, position, the two pumps).
SELECT a.unit, a.position, a.pump_id, b.pump_id
FROM pump a
JOIN pump b ON a.unit = b.unit AND a.position = b.position AND a.pump_id < b.pump_id
WHERE coalesce(a.fitted_on, DATE '0001-01-01') < coalesce(b.removed_on, DATE '9999-12-31')
  AND coalesce(b.fitted_on, DATE '0001-01-01') < coalesce(a.removed_on, DATE '9999-12-31')
ORDER BY ALL;
