SELECT unit, read_on, odometer_km FROM odometer WHERE source = 'cluster-replaced'
