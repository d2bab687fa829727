-- The depot of each unit.
SELECT unit, depot FROM vehicle
