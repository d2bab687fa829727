-- One price from a day on.
INSERT INTO cost_entry
    (cost_id, element, amount, currency, class, depot, valid_from, source, confirmed, set_by, recorded_at)
VALUES (?, ?, ?, ?, ?, ?, coalesce(?, DATE '1900-01-01'), ?, ?, ?, now() AT TIME ZONE 'UTC')
