-- Checks of a clamp on known currents, in order.
SELECT checked_on, known_a, read_a FROM clamp_check WHERE clamp = ? ORDER BY checked_on, check_id;
