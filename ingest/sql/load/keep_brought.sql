INSERT INTO brought_row (ledger_id, table_name, row_id, row_key, recorded_at)
SELECT $ledger_id, $table_name, row_id, row_key, $at FROM brought
