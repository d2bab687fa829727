-- What is asked and open: row, field and kind.
SELECT table_name, row_key, field, code FROM question WHERE status = 'open';
