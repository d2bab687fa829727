-- How many questions of each kind are open.
SELECT code, count(*) AS open, min(raised_at) AS oldest FROM question WHERE status = 'open'
GROUP BY code ORDER BY open DESC, code;
