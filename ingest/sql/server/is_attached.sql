SELECT 1 FROM duckdb_databases() WHERE database_name = current_database() AND type = 'postgres'
