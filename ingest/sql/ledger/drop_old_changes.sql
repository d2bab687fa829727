DELETE FROM change_log WHERE changed_at < ?
