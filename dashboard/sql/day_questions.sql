-- Questions raised after an instant ($since, UTC) that are still open.
SELECT q.unit, c.depot, q.code, q.details, q.text
FROM question q
LEFT JOIN vehicle c USING (unit)
WHERE q.status = 'open' AND q.raised_at > $since AND ($depot IS NULL OR c.depot = $depot)
ORDER BY q.raised_at, q.question_id
