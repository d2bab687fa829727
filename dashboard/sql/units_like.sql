-- Unit numbers at most two letters from a typed one, zeros in front, case and punctuation aside.
WITH plain AS (SELECT unit, regexp_replace(lower(unit), '[^\p{L}\p{N}]', '', 'g') AS text FROM vehicle)
SELECT unit FROM plain
WHERE levenshtein(coalesce(nullif(ltrim(text, '0'), ''), text), $plain) <= 2
ORDER BY unit;
