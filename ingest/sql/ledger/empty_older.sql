UPDATE {table} SET {column} = NULL WHERE {day} < ? AND {column} IS NOT NULL
