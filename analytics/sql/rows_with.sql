-- Rows of another query with one of the wanted values in a column (last parameter: their list).
SELECT * FROM ({query}) WHERE list_contains(?, {column})
