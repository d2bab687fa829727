"""Prices and risks in, what a choice costs and which one is cheapest out."""
