-- Every setting made, the newest first.
SELECT key, value, valid_from, set_by, recorded_at FROM setting ORDER BY key, valid_from DESC, recorded_at DESC;
