-- The recorded pumps of the place where an implied one is, and how each is told apart.
SELECT p.pump_id,
    concat_ws(', ', 'serial ' || p.serial, coalesce('fitted on ' || p.fitted_on, 'fitted on an unknown date'),
        'removed on ' || p.removed_on) AS said
FROM pump p
JOIN pump i ON i.pump_id = ? AND p.unit = i.unit AND p.position = i.position AND p.pump_id <> i.pump_id
WHERE p.fitted_on IS NOT NULL OR p.serial IS NOT NULL
ORDER BY p.fitted_on NULLS LAST, p.pump_id
LIMIT 6;
