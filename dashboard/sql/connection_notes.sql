-- Where to clamp on a vehicle of this kind, the closest note first.
SELECT n.note_id, n.make, n.model, n.engine, n.clamp_point, n.fuse, n.access, n.note, n.picture, n.picture_type
FROM connection_note n JOIN vehicle c ON c.unit = $unit
WHERE coalesce(n.make, c.make) IS NOT DISTINCT FROM c.make
  AND coalesce(n.model, c.model) IS NOT DISTINCT FROM c.model
  AND coalesce(n.engine, c.engine) IS NOT DISTINCT FROM c.engine
  AND coalesce(c.year, n.year_from, 0) BETWEEN coalesce(n.year_from, 0) AND coalesce(n.year_to, 9999)
ORDER BY (n.engine IS NOT NULL)::INT + (n.model IS NOT NULL)::INT + (n.make IS NOT NULL)::INT DESC, n.note_id;
