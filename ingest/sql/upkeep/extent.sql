-- How many rows a table of the engine's own file holds, and where its row ids end.
SELECT count(*), coalesce(max(rowid), -1) + 1 FROM {table}
