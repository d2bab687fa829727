SELECT unit, read_on, odometer_km FROM odometer WHERE unit = ? AND source = 'cluster-replaced'
