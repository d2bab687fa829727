-- What was told of each pump, kept as it was told, so that forecasts can be held against what came later.

CREATE TABLE told_forecast (
    pump_id BIGINT NOT NULL, told_on DATE NOT NULL, fit_id BIGINT, visits INTEGER NOT NULL,
    run_km FLOAT NOT NULL, risk FLOAT NOT NULL, horizon_km FLOAT NOT NULL,
    low_km FLOAT, middle_km FLOAT, high_km FLOAT, recorded_at TIMESTAMP NOT NULL
);
COMMENT ON TABLE told_forecast IS 'Forecasts as they were told: a row for each pump whenever it had a new visit or the fit was a new one.';
COMMENT ON COLUMN told_forecast.told_on IS 'the day that the forecast stands on, with facts dated by then';
COMMENT ON COLUMN told_forecast.fit_id IS 'empty: the fit could not be stored';
COMMENT ON COLUMN told_forecast.visits IS 'visits on record then';
COMMENT ON COLUMN told_forecast.run_km IS 'distance on the pump then, km';
COMMENT ON COLUMN told_forecast.risk IS 'chance of failing on the road before the horizon';
COMMENT ON COLUMN told_forecast.horizon_km IS 'distance ahead that the risk holds for, on the pump''s own clock, km';
COMMENT ON COLUMN told_forecast.low_km IS 'distance left that it reaches with a chance of 90 %, km on the odometer';
COMMENT ON COLUMN told_forecast.middle_km IS 'the same with a chance of 50 %';
COMMENT ON COLUMN told_forecast.high_km IS 'the same with a chance of 10 %';
COMMENT ON COLUMN told_forecast.recorded_at IS 'UTC';
