-- The value each cell had before a person last corrected it.
SELECT row_key, field, arg_max(old_value, change_id)
FROM change_log
WHERE table_name = ? AND field IS NOT NULL
GROUP BY ALL
HAVING arg_max(coalesce(command, ''), change_id) <> 'load'
