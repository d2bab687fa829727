-- The pump each incoming visit belongs to: by its serial, else the one in the position on that day.
-- On the day of a change that is the pump taken off, the earlier one, unless captured after the repair.
SELECT
    i.place,
    p.pump_id,
    coalesce(p.fitted_on, DATE '0001-01-01') <= i.visited_on + 7
        AND coalesce(p.removed_on, DATE '9999-12-31') >= i.visited_on - 7 AS within_life
FROM (SELECT * REPLACE (visited_on::DATE AS visited_on) FROM incoming_visits) i
JOIN pump p ON p.unit = i.unit AND p.position = i.position
WHERE CASE
    WHEN i.serial IS NULL THEN
        coalesce(p.fitted_on, DATE '0001-01-01') <= i.visited_on
        AND coalesce(p.removed_on, DATE '9999-12-31') >= i.visited_on
    ELSE p.serial = i.serial
END
QUALIFY row_number() OVER (
    PARTITION BY i.place
    ORDER BY
        within_life DESC,
        p.fitted_on IS NULL AND p.removed_on IS NULL,  -- a dated life says more than an undated one
        (p.fitted_on IS NOT DISTINCT FROM i.visited_on) = (i.reason = 'after-repair') DESC,
        coalesce(p.fitted_on, DATE '0001-01-01'),
        p.pump_id
) = 1
