-- One row for each event that cost money up to the as-of date (parameter 1): a breakdown and the pump it ended
-- are one event. A breakdown belongs to the failed pump of its unit (and position, where told) taken off nearest
-- to it, from a few days before to a month after.
WITH near AS (
    SELECT
        b.breakdown_id, p.pump_id,
        row_number() OVER (PARTITION BY b.breakdown_id
            ORDER BY abs(p.removed_on - b.happened_on), p.pump_id) AS of_breakdown,
        row_number() OVER (PARTITION BY p.pump_id
            ORDER BY abs(p.removed_on - b.happened_on), b.breakdown_id) AS of_pump
    FROM breakdown b
    JOIN pump p ON p.unit = b.unit AND coalesce(b.position, p.position) = p.position
        AND p.removal = 'failed' AND p.removed_on BETWEEN b.happened_on - 7 AND b.happened_on + 31
    WHERE b.pump_confirmed <> 'no'
), pair AS (
    SELECT breakdown_id, pump_id FROM near WHERE of_breakdown = 1 AND of_pump = 1
), event AS (
    SELECT
        coalesce(b.happened_on, p.removed_on) AS day, p.unit, p.position, p.pump_type, p.pump_id, b.breakdown_id,
        p.removal, p.found, b.pump_confirmed, b.cost AS breakdown_cost, p.cost AS pump_cost
    FROM pump p
    LEFT JOIN pair USING (pump_id)
    LEFT JOIN breakdown b ON b.breakdown_id = pair.breakdown_id
    WHERE p.removed_on IS NOT NULL
    UNION ALL
    SELECT
        b.happened_on, b.unit, coalesce(b.position, 'main'), p.pump_type, NULL, b.breakdown_id,
        NULL, NULL, b.pump_confirmed, b.cost, NULL
    FROM breakdown b
    LEFT JOIN pump p ON p.pump_id = (
        SELECT min(q.pump_id) FROM pump q
        WHERE q.unit = b.unit AND q.position = coalesce(b.position, 'main')
            AND coalesce(q.fitted_on, DATE '1900-01-01') <= b.happened_on
            AND coalesce(q.removed_on, DATE '2999-12-31') > b.happened_on
    )
    WHERE b.breakdown_id NOT IN (SELECT breakdown_id FROM pair)
)
SELECT e.*, c.class, c.depot, c.job_hours
FROM event e
LEFT JOIN vehicle c USING (unit)
WHERE e.day <= $1
ORDER BY e.day, e.unit, e.position, e.breakdown_id, e.pump_id
