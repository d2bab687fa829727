"""A ledger on PostgreSQL: the address of one comes in, connections that take the file ledger's SQL go out."""
