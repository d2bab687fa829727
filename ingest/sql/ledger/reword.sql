UPDATE {table} SET {column} = ? WHERE CAST({column} AS VARCHAR) = ?
