INSERT INTO fit (fitted_at, data_from, data_until, method_version, pumps, visits, failures, parameters)
VALUES (now()::TIMESTAMP, ?, ?, ?, ?, ?, ?, ?)
RETURNING fit_id
