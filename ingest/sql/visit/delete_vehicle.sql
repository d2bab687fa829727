DELETE FROM vehicle WHERE unit = ?;
