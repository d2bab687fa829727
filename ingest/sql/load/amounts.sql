-- Amounts of an element of cost that one source gave for all vehicles.
SELECT amount FROM cost_entry
WHERE element = ? AND source = ? AND class IS NULL AND depot IS NULL
ORDER BY valid_from, cost_id
