-- One vehicle as it is kept.
SELECT * FROM vehicle WHERE unit = $unit;
