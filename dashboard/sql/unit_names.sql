-- Every unit number, for the entry box and the near-match warning.
SELECT unit FROM vehicle ORDER BY unit;
