-- Of these visits, those without an open question that keeps them out count in their pump's trend again, unless
-- their clamp was off that day and they were not scaled.
UPDATE visit SET in_trend = TRUE
WHERE NOT in_trend AND visit_id IN (SELECT unnest(CAST($visits AS BIGINT[])))
  AND visit_id::VARCHAR NOT IN (
    SELECT row_key FROM question
    WHERE table_name = 'visit' AND status = 'open' AND code IN (SELECT unnest(CAST($codes AS VARCHAR[])))
  )
  AND visit_id NOT IN (
    SELECT unnest(CAST(json_extract(details, '$.visits') AS BIGINT[])) FROM question
    WHERE code = 'clamp-shift' AND status IN ('open', 'corrected') AND json_extract(details, '$.scaled') IS NULL
  );
