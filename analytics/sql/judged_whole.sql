-- Pumps whose last reading can't be judged by it and the first ones alone: complaints, checks, commanded supplies.
SELECT DISTINCT v.pump_id
FROM visit v
JOIN pump p USING (pump_id)
LEFT JOIN pump_type t ON t.pump_type = p.pump_type
LEFT JOIN current_reading r USING (visit_id)
WHERE NOT v.withdrawn AND v.visited_on <= ?
  AND (
    v.reason IN ('complaint', 'road-call') OR coalesce(v.supply, t.supply) <> 'direct'
    OR v.check_result IS NOT NULL OR v.closes IS NOT NULL OR v.filter_state IS NOT NULL OR v.strainer IS NOT NULL
    OR v.hose IS NOT NULL OR v.regulator IS NOT NULL OR v.connector IS NOT NULL
    OR (v.meter_a IS NULL AND r.mean_a IS NULL)
  )
