-- Pumps that another ledger brought and has removed since, and that nothing here speaks of.
SELECT p.pump_id, p.unit, 'pump ' || p.pump_type || coalesce(', serial ' || p.serial, '') || ' in position ' || p.position AS said
FROM pump p
JOIN brought_row b ON b.table_name = 'pump' AND b.ledger_id = $ledger_id AND b.row_key = CAST(p.pump_id AS VARCHAR)
WHERE b.row_id NOT IN (SELECT row_id FROM still_there)
  AND NOT EXISTS (SELECT 1 FROM visit v WHERE v.pump_id = p.pump_id AND NOT v.withdrawn)
  AND NOT EXISTS (SELECT 1 FROM booking k WHERE k.pump_id = p.pump_id)
  AND NOT EXISTS (SELECT 1 FROM claim_step s WHERE s.pump_id = p.pump_id)
  AND NOT EXISTS (SELECT 1 FROM hold_closed h WHERE h.pump_id = p.pump_id)
  AND NOT EXISTS (SELECT 1 FROM pump n WHERE n.continues_pump_id = p.pump_id)
