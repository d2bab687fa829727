-- The average current of each visit of some units, with the pump it is of.
SELECT visit_id, unit, mean_a FROM visit_detail WHERE mean_a IS NOT NULL AND list_contains($units, unit);
