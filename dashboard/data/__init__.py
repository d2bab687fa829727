"""A ledger in, the rows and worked-out answers a page shows out, cached by the ledger's stamp."""
