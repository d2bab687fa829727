-- One pump, its vehicle and its type's warranty, for a claim sheet.
SELECT
    p.*, c.vin, c.make, c.model, c.year, c.engine, c.depot, t.warranty_months, t.warranty_distance_km,
    (SELECT max(b.happened_on) FROM breakdown b
     WHERE b.unit = p.unit AND coalesce(b.position, p.position) = p.position AND b.happened_on <= p.removed_on
        AND (p.fitted_on IS NULL OR b.happened_on >= p.fitted_on)) AS broke_down_on,
    (SELECT max(s.done_on) FROM service s WHERE s.unit = p.unit AND s.work = 'filter'
        AND s.done_on <= coalesce(p.removed_on, DATE '9999-12-31')) AS filter_changed_on,
    (SELECT max(s.done_on) FROM service s WHERE s.unit = p.unit AND s.work = 'strainer'
        AND s.done_on <= coalesce(p.removed_on, DATE '9999-12-31')) AS strainer_changed_on,
    (SELECT max(s.done_on) FROM service s WHERE s.unit = p.unit AND s.work = 'tank_cleaned'
        AND s.done_on <= coalesce(p.removed_on, DATE '9999-12-31')) AS tank_cleaned_on
FROM pump p
LEFT JOIN vehicle c ON c.unit = p.unit
LEFT JOIN pump_type t ON t.pump_type = p.pump_type
WHERE p.pump_id = $pump_id
