-- Which ledger this is: its folder of waveforms says the same, so that no other ledger takes them for its own.

CREATE TABLE ledger_identity (ledger_id VARCHAR PRIMARY KEY);
INSERT INTO ledger_identity SELECT CAST(uuid() AS VARCHAR);
COMMENT ON TABLE ledger_identity IS 'Which ledger this is, in one row; a copy is the same ledger.';
COMMENT ON COLUMN ledger_identity.ledger_id IS 'as in the file ledger-id in the folder of its waveforms';
