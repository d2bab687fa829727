CREATE UNIQUE INDEX IF NOT EXISTS visit_of_capture ON {schema}.visit (capture_hash) WHERE NOT withdrawn
