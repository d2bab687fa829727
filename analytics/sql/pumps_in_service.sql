-- How many pumps are in service by what is known now.
SELECT count(*) FROM pump WHERE removed_on IS NULL
