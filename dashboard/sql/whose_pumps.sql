SELECT v.unit, v.depot, p.pump_id FROM vehicle v LEFT JOIN pump p USING (unit)
