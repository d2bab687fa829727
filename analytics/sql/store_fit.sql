INSERT INTO fit (fit_id, fitted_at, data_from, data_until, method_version, pumps, visits, failures, parameters)
VALUES ($fit_id, $fitted_at, $data_from, $data_until, $method_version, $pumps, $visits, $failures, $parameters)
