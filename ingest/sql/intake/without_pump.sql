-- Units that have no pump in service.
SELECT unit FROM vehicle WHERE unit NOT IN (SELECT unit FROM pump WHERE removed_on IS NULL) ORDER BY unit;
