SELECT * FROM postgres_query('{name}',
    'SELECT CAST(indexname AS text) FROM pg_indexes
     WHERE schemaname = ''{schema}'' AND indexname = ''visit_of_capture''')
