-- Units that other ledgers keep, with the depots of each ledger's units here.
WITH kept AS (
    SELECT b.row_key AS unit, b.ledger_id, v.depot
    FROM brought_row b JOIN vehicle v ON v.unit = b.row_key
    WHERE b.table_name = 'vehicle'
),
places AS (
    SELECT ledger_id, string_agg(depot, ', ' ORDER BY depot) AS depots
    FROM (SELECT DISTINCT ledger_id, depot FROM kept WHERE depot IS NOT NULL)
    GROUP BY ledger_id
)
SELECT k.unit, k.ledger_id, coalesce(p.depots, '') FROM kept k LEFT JOIN places p ON p.ledger_id = k.ledger_id
