-- A visit without open questions left counts in its pump's trend again, unless its clamp was off that day.
UPDATE visit SET in_trend = TRUE
WHERE visit_id = try_cast($row_key AS BIGINT) AND NOT in_trend
  AND NOT EXISTS (
    SELECT 1 FROM question WHERE table_name = 'visit' AND row_key = $row_key AND status = 'open'
  )
  AND visit_id NOT IN (
    SELECT unnest(CAST(json_extract(details, '$.visits') AS BIGINT[])) FROM question
    WHERE code = 'clamp-shift' AND status IN ('open', 'corrected')
  );
