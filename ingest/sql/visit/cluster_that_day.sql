SELECT 1 FROM odometer WHERE unit = ? AND read_on = ? AND source = 'cluster-replaced'
