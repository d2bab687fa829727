"""Past forecasts and what came of them in, scores out."""
