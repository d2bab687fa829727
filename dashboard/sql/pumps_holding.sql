-- Pumps in service with $find, case aside, anywhere in unit, VIN or serial number.
SELECT p.pump_id
FROM pump p
LEFT JOIN vehicle c ON c.unit = p.unit
WHERE p.removed_on IS NULL
    AND (contains(lower(p.unit), lower($find)) OR contains(lower(p.serial), lower($find)) OR contains(lower(c.vin), lower($find)));
