-- How many questions are open about units of a depot ($depot, NULL: of all).
SELECT count(*) AS open_questions
FROM question q
LEFT JOIN vehicle c USING (unit)
WHERE q.status = 'open' AND ($depot IS NULL OR c.depot = $depot)
