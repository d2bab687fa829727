-- Odometers of a unit (NULL: of all) as the instrument showed them: before any replaced cluster, or as entered at a visit.
SELECT unit, visited_on AS read_on,
       odometer_entered * CASE odometer_unit WHEN 'mi' THEN 1.609344 ELSE 1 END AS odometer_km
FROM visit
WHERE NOT withdrawn AND odometer_entered IS NOT NULL AND unit = coalesce(CAST($unit AS VARCHAR), unit)
UNION ALL
SELECT unit, read_on, odometer_km
FROM odometer o
WHERE source = 'reading' AND unit = coalesce(CAST($unit AS VARCHAR), unit)
  AND read_on <= (
    SELECT min(c.read_on) FROM odometer c WHERE c.unit = o.unit AND c.source = 'cluster-replaced'
  )
