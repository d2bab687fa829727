-- Lists kept for a day up to parameter 1, oldest first, of the newest hundred.
SELECT lines FROM (
    SELECT list_id, as_of, lines FROM plan_list WHERE as_of <= ? ORDER BY as_of DESC, list_id DESC LIMIT 100
) ORDER BY as_of, list_id
