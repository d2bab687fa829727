SELECT ledger_id FROM ledger_identity
