-- One question per row, field and kind; an answered one is not asked again unless a load changed the row since.
INSERT INTO question (question_id, raised_at, table_name, row_key, unit, field, code, details)
SELECT $before + row_number() OVER (), $at, a.table_name, a.row_key, a.unit, a.field, a.code, a.details
FROM asked a
WHERE NOT EXISTS (
    SELECT 1 FROM question q
    WHERE q.table_name = a.table_name AND q.row_key = a.row_key AND q.field IS NOT DISTINCT FROM a.field
      AND q.code = a.code
      AND (q.status = 'open' OR (q.status IN ('confirmed', 'dismissed') AND NOT EXISTS (
          SELECT 1 FROM change_log c
          WHERE c.table_name = q.table_name AND c.row_key = q.row_key
            AND c.command = 'load'
            AND CASE WHEN q.answered_after IS NULL THEN c.changed_at > q.answered_at  -- answered before this was kept
                ELSE c.change_id > q.answered_after END
      )))
)
