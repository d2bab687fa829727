-- Pumps in service.
SELECT unit, position, serial FROM pump WHERE removed_on IS NULL ORDER BY unit, position;
