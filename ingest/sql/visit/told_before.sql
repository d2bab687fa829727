-- What was last told of a pump's motor and supply at its visits up to a day.
SELECT last(motor ORDER BY visited_on, visit_id) FILTER (motor IS NOT NULL) AS motor,
    last(supply ORDER BY visited_on, visit_id) FILTER (supply IS NOT NULL) AS supply,
    last(segments ORDER BY visited_on, visit_id) FILTER (segments IS NOT NULL) AS segments,
    last(poles ORDER BY visited_on, visit_id) FILTER (poles IS NOT NULL) AS poles
FROM visit
WHERE pump_id = $pump_id AND NOT withdrawn AND visited_on <= $visited_on;
