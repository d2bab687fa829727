-- The value of a column's default, as the catalogue keeps it.
SELECT {default}
