-- Bring in a registered frame by its column names.
INSERT INTO {table} BY NAME SELECT * FROM new_rows
