"""A seeded fleet of our own scenario, its pump physics and the truth about it."""
