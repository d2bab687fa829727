"""A ledger and an address in, a running server out."""
