"""A folder of CSV tables and captures in, merged ledger rows and a report out, and back again."""
