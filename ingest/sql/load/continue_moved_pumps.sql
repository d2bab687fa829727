-- A pump that was taken off one place and fitted in another goes on with the distance it has run.
UPDATE pump
SET continues_pump_id = moved.before_id, prior_distance_km = moved.prior_km
FROM (
    SELECT
        b.pump_id, a.pump_id AS before_id,
        CASE WHEN coalesce(b.prior_distance_km, 0) > 0 THEN b.prior_distance_km
             ELSE coalesce(a.prior_distance_km, 0)
                  + coalesce(greatest(a.removed_odometer_km - a.fitted_odometer_km, 0) * a.run_share, 0)
        END AS prior_km
    FROM pump a
    JOIN pump b ON a.serial = b.serial AND a.pump_type = b.pump_type AND a.pump_id <> b.pump_id
    WHERE a.removed_on <= b.fitted_on AND coalesce(a.fitted_on, DATE '0001-01-01') < b.fitted_on
    QUALIFY row_number() OVER (PARTITION BY b.pump_id ORDER BY a.removed_on DESC) = 1
) moved
WHERE pump.pump_id = moved.pump_id AND pump.continues_pump_id IS DISTINCT FROM moved.before_id
