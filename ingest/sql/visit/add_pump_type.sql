-- A pump type that may be there already.
INSERT INTO pump_type (pump_type, recorded_at) VALUES (?, ?) ON CONFLICT DO NOTHING
