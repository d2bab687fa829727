-- What the ledger holds, in one row.
SELECT
    (SELECT count(*) FROM vehicle) AS vehicles,
    (SELECT count(*) FROM pump WHERE removed_on IS NULL) AS pumps_in_service,
    (SELECT count(*) FROM pump_type) AS pump_types,
    (SELECT count(*) FROM visit WHERE NOT withdrawn) AS visits,
    (SELECT count(*) FROM capture) AS captures,
    (SELECT coalesce(max(visited_on) FILTER (WHERE visited_on <= current_date + 1), max(visited_on))
        FROM visit WHERE NOT withdrawn) AS last_visited_on,
    (SELECT count(*) FROM breakdown WHERE pump_confirmed = 'yes') AS pump_breakdowns,
    (SELECT count(*) FROM question WHERE status = 'open') AS open_questions;
