-- A unit that may be there already.
INSERT INTO vehicle (unit, recorded_at) VALUES (?, ?) ON CONFLICT DO NOTHING
