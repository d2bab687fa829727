-- Clamps and days that were asked about, answered or not.
SELECT row_key FROM question WHERE code = 'clamp-shift';
