"""Rows and waveforms in, one consistent ledger file out: schema, settings, changes, questions, upkeep."""
