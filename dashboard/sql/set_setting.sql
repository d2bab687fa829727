-- A dated setting; earlier ones stay, so that old figures can be told from new ones.
INSERT INTO setting (key, value, valid_from, set_by, recorded_at)
VALUES ($key, $value, $valid_from, $by, now() AT TIME ZONE 'UTC');
