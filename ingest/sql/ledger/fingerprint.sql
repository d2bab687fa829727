-- How many rows a table has, and a sum of hashes over all their cells.
SELECT count(*), coalesce(sum(hash(t)::HUGEINT), 0) FROM {table} AS t
