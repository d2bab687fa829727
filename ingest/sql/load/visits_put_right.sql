-- Visits whose unit or day a person corrected, or that were withdrawn and took along the pump invented for them:
-- unit, day and odometer as they were first told, and as they are now.
WITH first_told AS (
    SELECT TRY_CAST(row_key AS BIGINT) AS visit_id, field, arg_min(old_value, change_id) AS old_value
    FROM change_log
    WHERE table_name = 'visit' AND field IN ('unit', 'visited_on', 'odometer_km') AND coalesce(command, '') <> 'load'
    GROUP BY ALL
)
SELECT v.visit_id,
    coalesce((SELECT old_value FROM first_told f WHERE f.visit_id = v.visit_id AND f.field = 'unit'), v.unit) AS unit,
    coalesce((SELECT TRY_CAST(old_value AS DATE) FROM first_told f WHERE f.visit_id = v.visit_id AND f.field = 'visited_on'),
        v.visited_on) AS visited_on,
    coalesce((SELECT TRY_CAST(old_value AS DOUBLE) FROM first_told f WHERE f.visit_id = v.visit_id AND f.field = 'odometer_km'),
        v.odometer_km) AS odometer_km,
    v.unit AS right_unit, v.visited_on AS right_day, v.position,
    v.withdrawn AND NOT EXISTS (SELECT 1 FROM pump p WHERE p.pump_id = v.pump_id) AS gone
FROM visit v
WHERE v.visit_id IN (SELECT visit_id FROM first_told WHERE field IN ('unit', 'visited_on'))
   OR (v.withdrawn AND NOT EXISTS (SELECT 1 FROM pump p WHERE p.pump_id = v.pump_id))
