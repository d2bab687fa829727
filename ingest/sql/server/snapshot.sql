-- Which transactions one that begins now would see.
SELECT * FROM postgres_query('{name}', 'SELECT CAST(pg_current_snapshot() AS text)')
