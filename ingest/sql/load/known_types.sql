-- The pump types that a position has had, each with what is known of it before a capture is measured; and, in no
-- position, the types that no pump is of yet.
SELECT p.unit, p.position, t.pump_type, t.motor, t.supply, t.segments, t.poles, t.rpm_low, t.rpm_high
FROM pump_type t
LEFT JOIN (SELECT DISTINCT unit, position, pump_type FROM pump) p USING (pump_type)
