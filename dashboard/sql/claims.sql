-- Pumps with a claim, as its newest step has it, those that are not settled first.
SELECT
    p.pump_id, c.depot, p.unit, p.position, p.pump_type, p.serial, p.lot, p.removed_on, s.state, s.stated_on,
    s.stated_by, s.amount, s.note
FROM (SELECT * FROM claim_step QUALIFY row_number() OVER (PARTITION BY pump_id ORDER BY step_id DESC) = 1) s
JOIN pump p USING (pump_id)
LEFT JOIN vehicle c ON c.unit = p.unit
ORDER BY s.state IN ('paid', 'refused'), s.stated_on DESC, p.pump_id
