SELECT value FROM setting WHERE key = ? ORDER BY valid_from, setting_id
