-- Each pump's newest reading up to the as-of date (parameter 1) and where it was clamped.
SELECT pump_id, visited_on, odometer_km, clamp_point, mean_a, ripple_pct, rpm
FROM visit_detail
WHERE visited_on <= ? AND (mean_a IS NOT NULL OR rpm IS NOT NULL)
QUALIFY row_number() OVER (PARTITION BY pump_id ORDER BY visited_on DESC, visit_id DESC) = 1
