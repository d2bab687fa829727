o.{column} IS NOT DISTINCT FROM {table}.{column}
