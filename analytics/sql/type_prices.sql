SELECT pump_type, price FROM pump_type WHERE price IS NOT NULL
