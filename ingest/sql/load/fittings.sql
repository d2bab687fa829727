-- The days on which pumps were fitted, for telling one pump's visits from the next one's.
SELECT unit, position, fitted_on FROM pump WHERE fitted_on IS NOT NULL;
