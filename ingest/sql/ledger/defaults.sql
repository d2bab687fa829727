-- Columns of a table with a default of the ledger's own.
SELECT column_name, column_default FROM duckdb_columns()
WHERE table_name = ? AND column_default IS NOT NULL
