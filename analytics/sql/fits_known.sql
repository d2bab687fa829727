-- Fits of a method whose data end by a day, newest first.
SELECT fit_id FROM fit
WHERE method_version = ? AND data_until <= coalesce(?, DATE '9999-12-31')
ORDER BY data_until DESC, fit_id DESC
