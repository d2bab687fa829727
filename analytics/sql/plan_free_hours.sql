-- Bay hours of a depot (parameter 1) in the week of a Monday (parameter 2) less its units' due work that has
-- hours (depot again, parameter 3); NULL where no bay hours are on record.
WITH asked AS (SELECT CAST($1 AS VARCHAR) AS depot, CAST($2 AS DATE) AS week_of)
SELECT
    coalesce(
        (SELECT max(b.hours) FROM bay_hours b, asked a
         WHERE b.depot = a.depot AND b.week_of = a.week_of),
        (SELECT max(b.hours) FROM bay_hours b, asked a WHERE b.depot = a.depot AND b.week_of IS NULL)
    ) - coalesce(
        (SELECT sum(d.hours) FROM due_work d JOIN vehicle v USING (unit), asked a
         WHERE coalesce(v.depot, '') = $3 AND d.due_on >= a.week_of AND d.due_on < a.week_of + 7),
        0
    )
