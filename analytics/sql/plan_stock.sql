SELECT depot, pump_type, on_hand FROM stock
