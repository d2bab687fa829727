"""What changed and what is due now."""
