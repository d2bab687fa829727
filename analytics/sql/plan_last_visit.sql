-- The newest visit of a pump ($pump_id) up to a day ($day).
SELECT visit_id, reason
FROM visit
WHERE pump_id = $pump_id AND visited_on <= $day AND NOT withdrawn
ORDER BY visited_on DESC, visit_id DESC
LIMIT 1
