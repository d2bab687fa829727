SELECT pump_type, current_low_a, current_high_a, ripple_limit_pct FROM pump_type
