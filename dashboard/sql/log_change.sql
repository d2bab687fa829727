-- Keep who changed what, from what, to what and why.
INSERT INTO change_log
    (changed_at, changed_by, command, table_name, row_key, field, old_value, new_value, reason)
VALUES (now() AT TIME ZONE 'UTC', $by, 'dashboard', $table_name, $row_key, $field, $old, $new, $reason);
