-- Rows that refer to something that isn't there: (table, row, what is missing). A withdrawn visit may have taken
-- along the pump and unit that were added for it.
SELECT 'visit' AS table_name, v.visit_id::VARCHAR AS row_key, 'pump ' || v.pump_id AS missing
FROM visit v WHERE NOT v.withdrawn AND NOT EXISTS (SELECT 1 FROM pump p WHERE p.pump_id = v.pump_id)
UNION ALL
SELECT 'visit', v.visit_id::VARCHAR, 'unit ' || v.unit
FROM visit v WHERE NOT v.withdrawn AND NOT EXISTS (SELECT 1 FROM vehicle c WHERE c.unit = v.unit)
UNION ALL
SELECT 'visit', v.visit_id::VARCHAR, 'capture ' || v.capture_hash
FROM visit v
WHERE v.capture_hash IS NOT NULL
  AND NOT EXISTS (SELECT 1 FROM capture c WHERE c.capture_hash = v.capture_hash)
UNION ALL
SELECT 'visit', v.visit_id::VARCHAR, 'a reading'
FROM visit v
WHERE (v.capture_hash IS NOT NULL OR v.meter_a IS NOT NULL)
  AND NOT EXISTS (SELECT 1 FROM reading r WHERE r.visit_id = v.visit_id)
UNION ALL
SELECT 'reading', r.reading_id::VARCHAR, 'visit ' || r.visit_id
FROM reading r WHERE NOT EXISTS (SELECT 1 FROM visit v WHERE v.visit_id = r.visit_id)
UNION ALL
SELECT 'pump', p.pump_id::VARCHAR, 'unit ' || p.unit
FROM pump p WHERE NOT EXISTS (SELECT 1 FROM vehicle c WHERE c.unit = p.unit)
UNION ALL
SELECT 'pump', p.pump_id::VARCHAR, 'pump type ' || p.pump_type
FROM pump p
WHERE p.pump_type <> 'unknown'
  AND NOT EXISTS (SELECT 1 FROM pump_type t WHERE t.pump_type = p.pump_type)
UNION ALL
SELECT 'pump', p.pump_id::VARCHAR, 'the life before the move, pump ' || p.continues_pump_id
FROM pump p
WHERE p.continues_pump_id IS NOT NULL
  AND NOT EXISTS (SELECT 1 FROM pump e WHERE e.pump_id = p.continues_pump_id)
UNION ALL
SELECT 'service', s.service_id::VARCHAR, 'unit ' || s.unit
FROM service s WHERE NOT EXISTS (SELECT 1 FROM vehicle c WHERE c.unit = s.unit)
UNION ALL
SELECT 'breakdown', b.breakdown_id::VARCHAR, 'unit ' || b.unit
FROM breakdown b WHERE NOT EXISTS (SELECT 1 FROM vehicle c WHERE c.unit = b.unit)
UNION ALL
SELECT 'odometer', o.unit || ' ' || o.read_on, 'unit ' || o.unit
FROM odometer o WHERE NOT EXISTS (SELECT 1 FROM vehicle c WHERE c.unit = o.unit)
UNION ALL
SELECT 'booking', b.booking_id::VARCHAR, 'pump ' || b.pump_id
FROM booking b WHERE NOT EXISTS (SELECT 1 FROM pump p WHERE p.pump_id = b.pump_id)
UNION ALL
SELECT 'claim_step', s.step_id::VARCHAR, 'pump ' || s.pump_id
FROM claim_step s WHERE NOT EXISTS (SELECT 1 FROM pump p WHERE p.pump_id = s.pump_id)
UNION ALL
SELECT 'hold_closed', h.closed_id::VARCHAR, 'hold ' || h.hold_id
FROM hold_closed h WHERE NOT EXISTS (SELECT 1 FROM hold o WHERE o.hold_id = h.hold_id)
UNION ALL
SELECT 'photo', f.photo_id::VARCHAR, 'visit ' || f.visit_id
FROM photo f WHERE NOT EXISTS (SELECT 1 FROM visit v WHERE v.visit_id = f.visit_id)
ORDER BY ALL;
