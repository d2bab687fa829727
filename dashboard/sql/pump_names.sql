-- What each pump in service is found by, in small letters: unit, serial number and VIN on lines of their own.
SELECT p.pump_id, lower(concat_ws(chr(10), p.unit, p.serial, c.vin)) AS names
FROM pump p
LEFT JOIN vehicle c ON c.unit = p.unit
WHERE p.removed_on IS NULL;
