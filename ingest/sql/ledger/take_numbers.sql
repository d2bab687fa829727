-- Take the next numbers of a table.
UPDATE last_id SET id = id + $count WHERE table_name = $table_name
