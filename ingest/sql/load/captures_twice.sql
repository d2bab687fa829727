-- Captures that several visits hold, with the first of these.
SELECT capture_hash, min(visit_id) FROM visit
WHERE capture_hash IS NOT NULL AND NOT withdrawn
GROUP BY 1
HAVING count(*) > 1
