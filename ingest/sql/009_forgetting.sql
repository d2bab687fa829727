-- Names that people asked to be removed, as hashes, and waveforms that were removed after the fleet's own time.

CREATE TABLE forgotten_name (name_hash VARCHAR PRIMARY KEY, words INTEGER NOT NULL, removed_at TIMESTAMP NOT NULL);
COMMENT ON TABLE forgotten_name IS 'Names removed from this ledger, as hashes: a later load leaves them out.';
COMMENT ON COLUMN forgotten_name.name_hash IS 'SHA-256 of the ledger''s id and the name';
COMMENT ON COLUMN forgotten_name.words IS 'how many words the name has';
COMMENT ON COLUMN forgotten_name.removed_at IS 'UTC';

ALTER TABLE capture ADD COLUMN waveform_removed_on DATE;
COMMENT ON COLUMN capture.waveform_removed_on IS 'when its waveform was removed as older than it is kept; its readings stand';
