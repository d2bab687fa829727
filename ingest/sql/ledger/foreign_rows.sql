-- Units outside the depots of an author among what one transaction has added or changed. $since: the last
-- number of each table before it, as a map.
WITH own AS (SELECT unit FROM vehicle WHERE list_contains($depots, depot)),
touched AS (
    SELECT unit FROM pump WHERE pump_id > $since['pump']
    UNION ALL
    SELECT unit FROM visit WHERE visit_id > $since['visit']
    UNION ALL
    SELECT unit FROM service WHERE service_id > $since['service']
    UNION ALL
    SELECT unit FROM breakdown WHERE breakdown_id > $since['breakdown']
    UNION ALL
    SELECT p.unit FROM booking b JOIN pump p USING (pump_id) WHERE b.booking_id > $since['booking']
    UNION ALL
    SELECT p.unit FROM claim_step s JOIN pump p USING (pump_id) WHERE s.step_id > $since['claim_step']
    UNION ALL
    SELECT p.unit FROM hold_closed h JOIN pump p USING (pump_id) WHERE h.closed_id > $since['hold_closed']
    UNION ALL
    SELECT v.unit FROM photo f JOIN visit v USING (visit_id) WHERE f.photo_id > $since['photo']
    UNION ALL
    SELECT coalesce(v.unit, p.unit, s.unit, b.unit, CASE c.table_name WHEN 'vehicle' THEN c.row_key END)
    FROM change_log c
    LEFT JOIN visit v ON c.table_name = 'visit' AND c.row_key = CAST(v.visit_id AS VARCHAR)
    LEFT JOIN pump p ON c.table_name = 'pump' AND c.row_key = CAST(p.pump_id AS VARCHAR)
    LEFT JOIN service s ON c.table_name = 'service' AND c.row_key = CAST(s.service_id AS VARCHAR)
    LEFT JOIN breakdown b ON c.table_name = 'breakdown' AND c.row_key = CAST(b.breakdown_id AS VARCHAR)
    WHERE c.change_id > $since['change_log']
        AND c.table_name IN ('vehicle', 'pump', 'visit', 'service', 'breakdown')
),
of_the_fleet AS (
    SELECT table_name FROM change_log
    WHERE change_id > $since['change_log']
        AND table_name NOT IN (
            'vehicle', 'pump', 'visit', 'service', 'breakdown', 'booking', 'connection_note', 'odometer',
            'due_work', 'reading', 'capture', 'clamp', 'clamp_check', 'tray',
            'claim_step', 'hold_closed', 'photo'
        )
)
SELECT 'unit ' || unit FROM touched WHERE unit NOT IN (SELECT unit FROM own)
UNION ALL
SELECT 'the whole fleet (' || table_name || ')' FROM of_the_fleet
UNION ALL
SELECT 'the stock of another depot' FROM hold_closed
WHERE closed_id > $since['hold_closed'] AND pump_id IS NULL AND NOT list_contains($depots, coalesce(depot, ''))
LIMIT 1
