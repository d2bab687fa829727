-- Rows that have come to be another row here.
DELETE FROM brought_row
WHERE ledger_id = $ledger_id AND table_name = $table_name AND row_id IN (SELECT row_id FROM brought)
