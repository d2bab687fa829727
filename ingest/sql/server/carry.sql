INSERT INTO {to}.{table} BY NAME SELECT * FROM {by}.{table}
