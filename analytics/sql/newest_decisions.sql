-- The newest decision of a person about each pump, taken by the as-of date (parameter 1).
SELECT pump_id, status, reason, planned_on, decided_by, decided_at
FROM booking
WHERE CAST(decided_at AS DATE) <= ?
QUALIFY row_number() OVER (PARTITION BY pump_id ORDER BY booking_id DESC) = 1
