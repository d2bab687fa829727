-- Visits of which this load has closed a question that kept them out of the trend.
SELECT DISTINCT CAST(row_key AS BIGINT) FROM question
WHERE table_name = 'visit' AND status = 'corrected' AND answered_by = $by AND answered_at = $at
  AND code IN (SELECT code FROM kept_out);
