-- A unit that may be there already.
INSERT INTO vehicle (unit, recorded_at) SELECT $1, $2 WHERE NOT EXISTS (SELECT 1 FROM vehicle WHERE unit = $1)
