-- A text cell that a spreadsheet would take for a formula (OWASP, "CSV Injection") gets an apostrophe in front.
CREATE OR REPLACE TEMP MACRO safe_text(cell) AS
CASE WHEN regexp_matches(cell, '^''*\s*[=+\-@\t\r\n＝＋－＠]') AND try_cast(cell AS DOUBLE) IS NULL
    THEN '''' || cell ELSE cell END
