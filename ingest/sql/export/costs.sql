-- The newest price of each cost element that holds for the whole fleet.
SELECT element, arg_max(amount, (valid_from, cost_id))
FROM cost_entry
WHERE class IS NULL AND depot IS NULL
GROUP BY element ORDER BY element;
