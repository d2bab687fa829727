-- Known spending by month: breakdowns on the road, and pumps changed without one.
SELECT date_trunc('month', happened_on)::DATE AS month, 'on the road' AS kind, count(*) AS jobs, sum(cost) AS amount,
    count(*) - count(cost) AS without_cost
FROM breakdown WHERE pump_confirmed = 'yes' GROUP BY ALL
UNION ALL
SELECT date_trunc('month', removed_on)::DATE, 'planned', count(*), sum(cost), count(*) - count(cost)
FROM pump WHERE removed_on IS NOT NULL AND removal IS DISTINCT FROM 'failed' GROUP BY ALL
ORDER BY month, kind;
