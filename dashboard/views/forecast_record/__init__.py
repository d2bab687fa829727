"""How past forecasts did."""
