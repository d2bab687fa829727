SELECT data_from, data_until, method_version, pumps, visits, failures, parameters FROM fit WHERE fit_id = ?
