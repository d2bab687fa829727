-- The level of a pump: the median of its averages.
SELECT median(mean_a) FROM visit_rows($pump_id) WHERE in_trend AND mean_a > 0
