-- Some of the rows of a table of the engine's own, damaged file.
SELECT * FROM {table} WHERE rowid >= ? AND rowid < ?
