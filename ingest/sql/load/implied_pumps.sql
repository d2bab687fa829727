-- Pumps that were taken to be there and are still asked about.
SELECT DISTINCT try_cast(row_key AS BIGINT) FROM question
WHERE table_name = 'pump' AND code = 'implied-pump' AND status = 'open'
