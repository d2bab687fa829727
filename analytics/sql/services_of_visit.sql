-- The services of a visit's unit.
SELECT unit, done_on, work FROM service WHERE unit IN (SELECT unit FROM visit WHERE visit_id = ?)
