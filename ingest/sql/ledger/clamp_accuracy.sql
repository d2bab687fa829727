-- What clamps on record may be off by.
SELECT clamp, pct, offset_a FROM clamp WHERE pct IS NOT NULL OR offset_a IS NOT NULL ORDER BY clamp;
