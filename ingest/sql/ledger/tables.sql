SELECT table_name FROM duckdb_tables() WHERE NOT internal ORDER BY table_name
