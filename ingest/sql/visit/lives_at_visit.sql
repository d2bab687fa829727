-- The recorded pumps of the place where a visit was, and how each is told apart.
SELECT p.pump_id,
    concat_ws(', ', 'serial ' || p.serial, coalesce('fitted on ' || p.fitted_on, 'fitted on an unknown date'),
        'removed on ' || p.removed_on) AS said
FROM pump p
JOIN visit v ON v.visit_id = ? AND p.unit = v.unit AND p.position = v.position
WHERE p.fitted_on IS NOT NULL OR p.serial IS NOT NULL
ORDER BY p.fitted_on NULLS LAST, p.pump_id
LIMIT 6;
