UPDATE odometer SET unit = $into WHERE unit = $unit;
