SELECT table_name, constraint_column_names FROM duckdb_constraints()
WHERE database_name = current_database() AND constraint_type = 'PRIMARY KEY'
