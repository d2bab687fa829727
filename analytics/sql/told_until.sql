-- Forecasts as they were told up to a day (parameter 1, NULL for all), by pump in order of time.
SELECT pump_id, told_on - DATE '1970-01-01' AS day, visits, run_km, risk, horizon_km
FROM told_forecast
WHERE told_on <= coalesce(CAST(? AS DATE), DATE '9999-12-31')
ORDER BY pump_id, told_on, recorded_at
