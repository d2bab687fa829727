-- Rows that exports of other ledgers brought, by the numbers that they have there.

CREATE TABLE brought_row (
    ledger_id VARCHAR NOT NULL, table_name VARCHAR NOT NULL, row_id VARCHAR NOT NULL, row_key VARCHAR NOT NULL,
    recorded_at TIMESTAMP NOT NULL, PRIMARY KEY (ledger_id, table_name, row_id)
);
COMMENT ON TABLE brought_row IS 'Rows brought by exports of other ledgers: which row there is which here, and which ledger keeps a unit.';
COMMENT ON COLUMN brought_row.ledger_id IS 'the ledger that keeps the row';
COMMENT ON COLUMN brought_row.row_id IS 'its number there; of units, pump types and clamps their name';
COMMENT ON COLUMN brought_row.row_key IS 'its number here';
COMMENT ON COLUMN brought_row.recorded_at IS 'when it was first brought, UTC';
