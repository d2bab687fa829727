INSERT INTO forgotten_name (name_hash, words, removed_at) SELECT $name_hash, $words, $at WHERE $name_hash NOT IN (SELECT name_hash FROM forgotten_name)
