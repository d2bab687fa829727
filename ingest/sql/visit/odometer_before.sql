-- The last trusted odometer of a unit up to a day.
SELECT visited_on, odometer_km FROM visit
WHERE unit = ? AND visited_on <= ? AND in_trend AND NOT withdrawn AND odometer_km IS NOT NULL
ORDER BY visited_on DESC, visit_id DESC
LIMIT 1
