-- A number that grows with every list kept and every decision.
SELECT
    coalesce((SELECT max(list_id) FROM plan_list), 0) + coalesce((SELECT max(booking_id) FROM booking), 0)
