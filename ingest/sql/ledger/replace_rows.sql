-- Write changed rows over those of the same number or name.
INSERT OR REPLACE INTO {table} BY NAME SELECT * FROM new_rows
