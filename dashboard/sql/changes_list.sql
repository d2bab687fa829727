-- Changes made by people and loads, newest first, `$find` anywhere in who, what and why; one page of them.
SELECT changed_at, changed_by, table_name, row_key, field, old_value, new_value, reason, command,
    count(*) OVER () AS found
FROM change_log
WHERE $find = ''
   OR concat_ws(' ', changed_by, table_name, row_key, field, new_value, reason, command) ILIKE '%' || $find || '%'
ORDER BY change_id DESC LIMIT $rows OFFSET $skip;
