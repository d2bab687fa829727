UPDATE visit
SET in_trend = FALSE
WHERE in_trend
  AND visit_id::VARCHAR IN (
    SELECT row_key FROM question
    WHERE table_name = 'visit' AND status = 'open' AND code IN (SELECT code FROM kept_out)
  )
