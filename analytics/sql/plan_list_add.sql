-- Keep a replacement list.
INSERT INTO plan_list (list_id, made_at, as_of, made_by, expected_saving, lines) VALUES (?, ?, ?, ?, ?, ?)
