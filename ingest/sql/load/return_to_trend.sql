-- Visits whose last keeping-out question this load has closed, unless their clamp was off that day.
UPDATE visit
SET in_trend = TRUE
WHERE NOT in_trend
  AND visit_id::VARCHAR IN (
    SELECT row_key FROM question
    WHERE table_name = 'visit' AND status = 'corrected' AND answered_by = $by AND answered_at = $at
      AND code IN (SELECT code FROM kept_out)
  )
  AND visit_id::VARCHAR NOT IN (
    SELECT row_key FROM question
    WHERE table_name = 'visit' AND status = 'open' AND code IN (SELECT code FROM kept_out)
  )
  AND visit_id NOT IN (
    SELECT unnest(CAST(json_extract(details, '$.visits') AS BIGINT[])) FROM question
    WHERE code = 'clamp-shift' AND status IN ('open', 'corrected')
  )
