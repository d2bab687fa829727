UPDATE {table} SET {column} = NULL WHERE list_contains(?, {column})
