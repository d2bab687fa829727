-- The newest list made for a day up to this one.
SELECT lines FROM plan_list WHERE as_of <= ? ORDER BY as_of DESC, list_id DESC LIMIT 1
