INSERT INTO change_log (
    change_id, changed_at, changed_by, command, table_name, row_key, field, old_value, new_value, reason
) VALUES (
    $change_id, $changed_at, $changed_by, $command, $table_name, $row_key, $field, $old_value, $new_value, $reason
);
