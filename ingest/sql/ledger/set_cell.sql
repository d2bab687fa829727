-- One cell of one row; names are ours, never what somebody typed.
UPDATE {table} SET {column} = ? WHERE {id_column} = ?
