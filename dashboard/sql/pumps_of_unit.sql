-- Every pump life of one unit, newest first.
SELECT
    p.pump_id, p.unit, p.position, p.pump_type, p.serial, p.lot, p.fitted_on, p.fitted_odometer_km,
    p.removed_on, p.removed_odometer_km, p.removal, p.found, p.cause, p.cost,
    (SELECT count(*) FROM visit v WHERE v.pump_id = p.pump_id AND NOT v.withdrawn) AS visits
FROM pump p
WHERE p.unit = $unit
ORDER BY p.removed_on IS NULL DESC, p.position, p.fitted_on DESC NULLS LAST;
