-- Each class and depot that units are of.
SELECT DISTINCT class, depot FROM vehicle
