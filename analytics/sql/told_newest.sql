-- The newest forecast told of each pump: (pump_id, visits, fit_id, told_on).
SELECT pump_id, arg_max(visits, recorded_at) AS visits, arg_max(fit_id, recorded_at) AS fit_id, max(told_on) AS told_on
FROM told_forecast
GROUP BY pump_id
