-- Every pump of every list kept up to the as-of date (parameter 1), with what became of it by then.
WITH line AS (
    SELECT l.list_id, l.as_of, l.expected_saving, unnest(from_json(l.lines, '["JSON"]')) AS line
    FROM plan_list l
    WHERE l.as_of <= ?
)
SELECT
    line.list_id, line.as_of, line.expected_saving, p.pump_id, p.removed_on, p.removal, p.found,
    CAST(line.line ->> 'risk' AS DOUBLE) AS risk,
    CAST(line.line ->> 'planned' AS DOUBLE) AS planned, CAST(line.line ->> 'failure' AS DOUBLE) AS failure
FROM line
LEFT JOIN pump p ON p.pump_id = CAST(line.line ->> 'pump_id' AS BIGINT)
