-- One row; its values are parameters.
INSERT INTO {table} ({columns}) VALUES ({marks})
