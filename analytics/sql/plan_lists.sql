-- Every replacement list kept, newest first.
SELECT list_id, made_at, as_of, made_by, expected_saving, json_array_length(lines) AS pumps
FROM plan_list
ORDER BY list_id DESC
