-- Open questions about what a clamp was off by.
SELECT question_id, table_name, row_key, unit, field, code, details FROM question
WHERE table_name = 'clamp' AND status = 'open' AND code IN ('clamp-shift', 'clamp-off')
  AND json_extract_string(details, '$.clamp') = ?
ORDER BY question_id;
