-- Take out the registered rows of a table that has no numbers.
DELETE FROM {table} WHERE EXISTS (SELECT 1 FROM old_rows AS o WHERE {same_cells})
