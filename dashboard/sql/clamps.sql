-- Clamps on record with their newest check on a known current.
SELECT c.*, k.known_a, k.read_a
FROM clamp c
LEFT JOIN clamp_check k ON k.clamp = c.clamp
QUALIFY row_number() OVER (PARTITION BY c.clamp ORDER BY k.checked_on DESC, k.check_id DESC) = 1
ORDER BY c.clamp;
