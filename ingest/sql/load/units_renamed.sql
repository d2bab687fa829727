-- Names that turned out to be another unit's, with that unit: removed by a person and not there again.
SELECT c.row_key AS unit, arg_max(substr(c.new_value, 6), c.change_id) AS meant
FROM change_log c
WHERE c.table_name = 'vehicle' AND c.field IS NULL AND c.new_value LIKE 'unit %' AND c.old_value LIKE 'unit %'
  AND c.row_key NOT IN (SELECT unit FROM vehicle)
GROUP BY c.row_key
