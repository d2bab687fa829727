SELECT * FROM {table} WHERE {id_column} = ?
