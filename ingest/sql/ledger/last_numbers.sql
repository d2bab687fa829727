SELECT table_name, id FROM last_id
