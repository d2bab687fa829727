SELECT * FROM {table}
