-- Holds, those that stand first.
SELECT * FROM hold ORDER BY lifted_on IS NOT NULL, held_on DESC, hold_id DESC
