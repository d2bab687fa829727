-- A dated price of one element of cost.
INSERT INTO cost_entry
    (element, amount, currency, class, depot, valid_from, source, confirmed, set_by, recorded_at)
VALUES ($element, $amount, $currency, $class, $depot, $valid_from, $source, $confirmed, $by,
    now() AT TIME ZONE 'UTC');
