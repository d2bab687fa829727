SELECT unit FROM vehicle ORDER BY unit
