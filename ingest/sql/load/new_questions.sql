-- Carried questions that this ledger has not asked, in their order.
SELECT c.* FROM carried_questions c
WHERE NOT EXISTS (
    SELECT 1 FROM question q
    WHERE q.table_name = c.table_name AND q.row_key = c.row_key AND q.field IS NOT DISTINCT FROM c.field
      AND q.code = c.code
)
ORDER BY c.file_row
