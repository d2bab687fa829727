-- Settings in force on a day, earlier rows first.
SELECT key, value FROM setting
WHERE valid_from <= coalesce(?, DATE '9999-12-31')
ORDER BY valid_from, setting_id
