SELECT table_name, column_name, data_type, is_nullable, column_default
FROM duckdb_columns() JOIN duckdb_tables() USING (database_name, schema_name, table_name)
WHERE database_name = current_database() AND NOT duckdb_tables.internal AND NOT duckdb_tables.temporary
ORDER BY table_name, column_index
