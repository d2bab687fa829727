"""What the ledger waits for a person to answer."""
