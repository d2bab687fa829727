-- What the plan needs of each pump type.
SELECT pump_type, lead_time_days, price, filter FROM pump_type ORDER BY pump_type
