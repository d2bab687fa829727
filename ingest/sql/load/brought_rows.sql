-- Rows of one table that another ledger's exports have brought.
SELECT row_id, row_key FROM brought_row WHERE ledger_id = ? AND table_name = ?
