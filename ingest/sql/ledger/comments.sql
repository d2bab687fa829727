-- Tables and views with what they hold.
SELECT table_name, comment FROM duckdb_tables()
UNION ALL
SELECT view_name, comment FROM duckdb_views() WHERE NOT internal
ORDER BY 1
