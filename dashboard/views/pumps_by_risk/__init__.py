"""Every pump in service by risk, with its reason."""
