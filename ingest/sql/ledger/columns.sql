SELECT table_name, column_name, data_type, is_nullable, column_default, comment
FROM duckdb_columns()
WHERE NOT internal
ORDER BY table_name, column_index
