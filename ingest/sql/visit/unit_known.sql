SELECT 1 FROM vehicle WHERE unit = ?
