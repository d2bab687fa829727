SELECT name_hash, words FROM forgotten_name
