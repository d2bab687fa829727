-- What units had driven in all when their instrument cluster was replaced, where a person has recorded it.
SELECT o.unit, o.read_on, max(o.odometer_km) AS total_km
FROM odometer o
JOIN change_log l ON l.table_name = 'odometer' AND l.command = 'replace-cluster'
  AND l.row_key = o.unit || ' ' || o.read_on || ' cluster-replaced'
WHERE o.source = 'reading'
GROUP BY ALL
