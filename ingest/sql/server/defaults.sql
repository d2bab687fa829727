-- As ledger/defaults; the engine that is attached doesn't tell of the server's defaults.
SELECT * FROM postgres_query('{name}',
    'SELECT CAST(column_name AS text), CAST(column_default AS text) FROM information_schema.columns
     WHERE table_schema = ''{schema}'' AND table_name = ''{0}'' AND column_default IS NOT NULL')
