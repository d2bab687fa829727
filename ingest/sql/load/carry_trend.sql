-- Visits that the ledger which keeps them has taken out of the trend, or back, unless a person did otherwise here.
UPDATE visit
SET in_trend = s.in_trend
FROM standing s
WHERE visit.visit_id = s.visit_id AND visit.in_trend <> s.in_trend
  AND NOT EXISTS (
    SELECT 1 FROM change_log c
    WHERE c.table_name = 'visit' AND c.field = 'in_trend' AND c.row_key = CAST(visit.visit_id AS VARCHAR))
  AND (NOT s.in_trend OR NOT EXISTS (
    SELECT 1 FROM question q
    WHERE q.table_name = 'visit' AND q.status = 'open' AND q.row_key = CAST(visit.visit_id AS VARCHAR)
      AND q.code IN (SELECT code FROM kept_out)))
