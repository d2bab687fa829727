SELECT value FROM setting WHERE key = ? ORDER BY valid_from, recorded_at
