-- Parts of a type (parameter 2) on hand at a depot (parameter 1).
SELECT on_hand FROM stock WHERE depot = ? AND pump_type = ?
