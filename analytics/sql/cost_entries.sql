-- Every price entered that is in force on a day (parameter 1), oldest first.
SELECT element, amount, class, depot, source, confirmed, valid_from, recorded_at, cost_id
FROM cost_entry
WHERE valid_from <= ?
ORDER BY valid_from, cost_id
