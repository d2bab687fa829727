SELECT unit FROM vehicle WHERE list_contains($depots, depot)
