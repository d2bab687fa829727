-- Units that another ledger brought and has removed since, and that nothing here speaks of.
SELECT c.unit
FROM vehicle c
JOIN brought_row b ON b.table_name = 'vehicle' AND b.ledger_id = $ledger_id AND b.row_key = c.unit
WHERE b.row_id NOT IN (SELECT row_id FROM still_there)
  AND NOT EXISTS (SELECT 1 FROM pump p WHERE p.unit = c.unit)
  AND NOT EXISTS (SELECT 1 FROM visit v WHERE v.unit = c.unit AND NOT v.withdrawn)
  AND NOT EXISTS (SELECT 1 FROM service s WHERE s.unit = c.unit)
  AND NOT EXISTS (SELECT 1 FROM breakdown d WHERE d.unit = c.unit)
  AND NOT EXISTS (SELECT 1 FROM odometer o WHERE o.unit = c.unit)
  AND NOT EXISTS (SELECT 1 FROM due_work w WHERE w.unit = c.unit)
