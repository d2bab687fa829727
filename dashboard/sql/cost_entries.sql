-- Every price given, the newest first.
SELECT element, amount, currency, class, depot, valid_from, source, confirmed, set_by, recorded_at
FROM cost_entry ORDER BY element, valid_from DESC, recorded_at DESC;
