SELECT * FROM postgres_query('{name}',
    'SELECT CAST(tablename AS text) FROM pg_tables WHERE schemaname = ''{schema}'' ORDER BY 1')
