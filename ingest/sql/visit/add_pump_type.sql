-- A pump type that may be there already.
INSERT INTO pump_type (pump_type, recorded_at) SELECT $1, $2 WHERE NOT EXISTS (SELECT 1 FROM pump_type WHERE pump_type = $1)
