-- What is known of a pump before its capture is measured, with its last speed in the same engine state.
-- What was told at a visit goes before what its type says.
SELECT coalesce($segments, t.segments) AS segments, coalesce($poles, t.poles) AS poles,
       t.rpm_low, t.rpm_high, coalesce($supply, t.supply) AS supply,
       coalesce($motor, t.motor, 'brushed') AS motor,
       last.rpm AS previous_rpm, last.supply_v AS previous_supply_v,
       last.visited_on AS told_on, last.visit_id AS told_at
FROM pump p
LEFT JOIN pump_type t USING (pump_type)
LEFT JOIN (
    SELECT d.pump_id, d.rpm, d.supply_v, d.visited_on, d.visit_id
    FROM visit_detail d
    WHERE d.pump_id = $pump_id AND d.rpm IS NOT NULL AND d.in_trend
      AND d.state IS NOT DISTINCT FROM $state
      AND d.visited_on <= $visited_on
    ORDER BY d.visited_on DESC, d.visit_id DESC
    LIMIT 1
) last USING (pump_id)
WHERE p.pump_id = $pump_id;
