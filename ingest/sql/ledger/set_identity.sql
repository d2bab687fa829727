UPDATE ledger_identity SET ledger_id = $ledger_id
