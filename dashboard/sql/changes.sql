-- The latest changes made by people and loads.
SELECT changed_at, changed_by, command, table_name, row_key, field, old_value, new_value, reason
FROM change_log ORDER BY change_id DESC LIMIT $rows;
