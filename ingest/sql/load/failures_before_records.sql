-- Failed pumps on record; how many of them no visit saw and no day says that all changes were written down by
-- then; the day of the first of those.
SELECT count(*) AS failures,
    count(*) FILTER (WHERE unseen) AS left_out,
    min(removed_on) FILTER (WHERE unseen) AS since
FROM (
    SELECT p.removed_on,
        c.records_from IS NULL AND NOT EXISTS (
            SELECT 1 FROM visit v
            WHERE v.pump_id = p.pump_id AND NOT v.withdrawn AND v.visited_on < p.removed_on
        ) AS unseen
    FROM pump p JOIN vehicle c USING (unit)
    WHERE p.removal = 'failed' AND p.removed_on IS NOT NULL
);
