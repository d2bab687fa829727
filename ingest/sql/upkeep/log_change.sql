INSERT INTO change_log (
    changed_at, changed_by, command, table_name, row_key, field, old_value, new_value, reason
) VALUES (
    $changed_at, $changed_by, $command, $table_name, $row_key, $field, $old_value, $new_value, $reason
);
