-- The first unit numbers that hold a typed part, those that begin with it before the others.
SELECT unit FROM vehicle
WHERE contains(lower(unit), lower($part))
ORDER BY NOT starts_with(lower(unit), lower($part)), unit
LIMIT 4;
