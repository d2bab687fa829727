-- Lives of pumps that can't all be true: two in one position at a time, or one serial in two places at a time.
SELECT
    b.pump_id, b.unit, b.fitted_on, a.pump_id AS other_id, a.unit AS other_unit, a.position AS other_position,
    a.fitted_on AS other_fitted_on, a.removed_on AS other_removed_on, b.serial,
    CASE WHEN a.unit = b.unit AND a.position = b.position
         THEN CASE WHEN a.removed_on IS NULL THEN 'not-removed' ELSE 'lives-overlap' END
         ELSE 'serial-twice' END AS code
FROM pump a
JOIN pump b ON a.unit = b.unit AND a.position = b.position AND a.pump_id <> b.pump_id
WHERE b.fitted_on > coalesce(a.fitted_on, DATE '0001-01-01')
  AND b.fitted_on < coalesce(a.removed_on, DATE '9999-12-31')
UNION ALL
SELECT
    b.pump_id, b.unit, b.fitted_on, a.pump_id, a.unit, a.position, a.fitted_on, a.removed_on, b.serial,
    'serial-twice'
FROM pump a
JOIN pump b ON a.serial = b.serial AND a.pump_type = b.pump_type AND a.pump_id <> b.pump_id
WHERE NOT (a.unit = b.unit AND a.position = b.position)
  AND b.fitted_on >= coalesce(a.fitted_on, DATE '0001-01-01')
  AND b.fitted_on < coalesce(a.removed_on, DATE '9999-12-31')
  AND (b.fitted_on > coalesce(a.fitted_on, DATE '0001-01-01') OR b.pump_id > a.pump_id)
