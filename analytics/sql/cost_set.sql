-- One price from a day on: element, amount, currency, class, depot, valid_from, source, confirmed, set_by.
INSERT INTO cost_entry
    (element, amount, currency, class, depot, valid_from, source, confirmed, set_by, recorded_at)
VALUES (?, ?, ?, ?, ?, coalesce(?, DATE '1900-01-01'), ?, ?, ?, now() AT TIME ZONE 'UTC')
