-- Around each visit without a pump: the pump before, the pump after, and one without serial that covers it.
SELECT
    i.place,
    max(p.removed_on) FILTER (p.removed_on < i.visited_on) AS removed_before,
    arg_max(p.pump_id, p.removed_on) FILTER (p.removed_on < i.visited_on) AS pump_before,
    min(p.fitted_on) FILTER (p.fitted_on > i.visited_on) AS fitted_after,
    arg_min(p.pump_id, p.fitted_on) FILTER (p.fitted_on > i.visited_on) AS pump_after,
    min(p.pump_id) FILTER (
        p.serial IS NULL
        AND coalesce(p.fitted_on, DATE '0001-01-01') <= i.visited_on
        AND coalesce(p.removed_on, DATE '9999-12-31') >= i.visited_on
    ) AS pump_without_serial
FROM (SELECT * REPLACE (visited_on::DATE AS visited_on) FROM incoming_visits) i
LEFT JOIN pump p ON p.unit = i.unit AND p.position = i.position
GROUP BY i.place
