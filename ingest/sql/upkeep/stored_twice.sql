-- The same thing stored more than once: (what, which visits or readings).
SELECT 'capture ' || capture_hash[:12] || '… in visits ' || string_agg(visit_id::VARCHAR, ', ' ORDER BY visit_id)
FROM visit WHERE capture_hash IS NOT NULL AND NOT withdrawn
GROUP BY capture_hash HAVING count(*) > 1
UNION ALL
SELECT 'visit ' || visit_id || ' measured by method ' || method_version || ' in readings '
       || before || ', ' || reading_id
FROM (
    -- one that goes back to an earlier capture, as when an answer is taken back, is measured from that anew
    SELECT *, lag(reading_id) OVER same AS before
    FROM reading WHERE origin = 'capture'
    WINDOW same AS (PARTITION BY visit_id ORDER BY reading_id)
    QUALIFY lag(method_version) OVER same = method_version
        AND lag(capture_hash) OVER same IS NOT DISTINCT FROM capture_hash
)
ORDER BY ALL;
