-- The newest decision about each pump, taken by the as-of date (parameter 1; NULL: any).
SELECT booking_id, pump_id, status, planned_on, reason, risk, expected_saving, decided_by, decided_at
FROM booking
WHERE CAST(decided_at AS DATE) <= coalesce(?, DATE '9999-12-31')
QUALIFY row_number() OVER (PARTITION BY pump_id ORDER BY booking_id DESC) = 1
ORDER BY pump_id
