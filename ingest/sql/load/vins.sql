SELECT unit, vin, recorded_at FROM vehicle
