-- What the warranty of these pumps rests on ($pumps): the type's terms, where the pump was first fitted (a pump
-- moved keeps its first day), what it had run before, and the newest odometer of its unit while it was on.
WITH RECURSIVE lives AS (
    SELECT pump_id AS of_pump, pump_id, continues_pump_id, fitted_on FROM pump WHERE list_contains($pumps, pump_id)
    UNION
    SELECT l.of_pump, e.pump_id, e.continues_pump_id, e.fitted_on
    FROM lives l JOIN pump e ON e.pump_id = l.continues_pump_id
)
SELECT
    p.pump_id, t.warranty_months, t.warranty_distance_km, f.fitted_on AS first_fitted_on,
    f.pump_id <> p.pump_id AS moved_here, p.fitted_odometer_km, coalesce(p.prior_distance_km, 0) AS prior_km,
    p.removed_on,
    coalesce(p.removed_odometer_km, (
        SELECT max(v.odometer_km) FROM visit v WHERE v.pump_id = p.pump_id AND NOT v.withdrawn AND v.in_trend
    )) AS newest_km
FROM pump p
JOIN lives f ON f.of_pump = p.pump_id AND f.continues_pump_id IS NULL
LEFT JOIN pump_type t ON t.pump_type = p.pump_type
WHERE list_contains($pumps, p.pump_id)
