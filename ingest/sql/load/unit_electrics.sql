-- A unit's system voltage.
SELECT system_v FROM vehicle WHERE unit = ?
