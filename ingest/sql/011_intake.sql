-- A morning's captures that wait for a unit, and the clamps they are taken with.

CREATE TABLE clamp (
    clamp VARCHAR PRIMARY KEY, factor VARCHAR, channel VARCHAR, range_a DOUBLE, pct DOUBLE, offset_a DOUBLE,
    owner VARCHAR, checked_on DATE, due_on DATE, note VARCHAR, ref VARCHAR, recorded_at TIMESTAMP NOT NULL
);
COMMENT ON TABLE clamp IS 'Current clamps and meters, by the name that a visit gives.';
COMMENT ON COLUMN clamp.clamp IS 'its name, as a visit gives it';
COMMENT ON COLUMN clamp.factor IS 'what it gives, such as 100mV/A; used for captures in volts';
COMMENT ON COLUMN clamp.channel IS 'channel of its captures that holds the pump current; empty: found by itself';
COMMENT ON COLUMN clamp.range_a IS 'the most it reads, A';
COMMENT ON COLUMN clamp.pct IS 'what it may be off by, percent of the reading; empty: the fleet''s setting';
COMMENT ON COLUMN clamp.offset_a IS 'and on top of it, A';
COMMENT ON COLUMN clamp.owner IS 'who has it';
COMMENT ON COLUMN clamp.checked_on IS 'when it was last checked or calibrated';
COMMENT ON COLUMN clamp.due_on IS 'when that is due again';
COMMENT ON COLUMN clamp.ref IS 'the source''s own row id';
COMMENT ON COLUMN clamp.recorded_at IS 'when the row became known, UTC';

CREATE TABLE clamp_check (
    check_id BIGINT PRIMARY KEY, clamp VARCHAR NOT NULL, checked_on DATE NOT NULL, known_a DOUBLE NOT NULL,
    read_a DOUBLE NOT NULL, checked_by VARCHAR, note VARCHAR, ref VARCHAR, recorded_at TIMESTAMP NOT NULL
);
COMMENT ON TABLE clamp_check IS 'A clamp held on a known current.';
COMMENT ON COLUMN clamp_check.check_id IS 'number of the check';
COMMENT ON COLUMN clamp_check.clamp IS 'which clamp';
COMMENT ON COLUMN clamp_check.checked_on IS 'the day';
COMMENT ON COLUMN clamp_check.known_a IS 'the known current, A';
COMMENT ON COLUMN clamp_check.read_a IS 'what the clamp read, A';
COMMENT ON COLUMN clamp_check.checked_by IS 'who held it there';
COMMENT ON COLUMN clamp_check.ref IS 'the source''s own row id';
COMMENT ON COLUMN clamp_check.recorded_at IS 'when the row became known, UTC';

CREATE TABLE tray (
    tray_id BIGINT PRIMARY KEY, status VARCHAR NOT NULL DEFAULT 'waiting', file_name VARCHAR NOT NULL,
    file_hash VARCHAR NOT NULL, capture_hash VARCHAR, unit VARCHAR, position VARCHAR, matched_by VARCHAR,
    reason VARCHAR, captured_on DATE, clamp VARCHAR, probe VARCHAR, entry VARCHAR, mean_a DOUBLE,
    ripple_pct DOUBLE, rpm DOUBLE, picture DOUBLE[], visit_id BIGINT, taken_by VARCHAR,
    recorded_at TIMESTAMP NOT NULL
);
COMMENT ON TABLE tray IS 'Capture files that were taken in: waiting for a unit, stored as a visit, or why they can''t be.';
COMMENT ON COLUMN tray.tray_id IS 'number of the file';
COMMENT ON COLUMN tray.status IS 'waiting, refused (can''t be read as it is), stored (visit_id) or dropped (by a person)';
COMMENT ON COLUMN tray.file_hash IS 'SHA-256 of the file''s bytes';
COMMENT ON COLUMN tray.capture_hash IS 'the samples, as in capture; empty where they can''t be read';
COMMENT ON COLUMN tray.unit IS 'the unit it seems to be of; empty: not told';
COMMENT ON COLUMN tray.matched_by IS 'what tells the unit: sidecar, name or serial';
COMMENT ON COLUMN tray.reason IS 'why it waits, can''t be read or was dropped';
COMMENT ON COLUMN tray.captured_on IS 'day of the capture: as the file, its sidecar or its name says, else when it was written';
COMMENT ON COLUMN tray.entry IS 'what a sidecar says of the visit, by column of visits.csv, as JSON';
COMMENT ON COLUMN tray.mean_a IS 'average as measured when it was taken in, not yet knowing its pump, A';
COMMENT ON COLUMN tray.ripple_pct IS 'ripple measured likewise';
COMMENT ON COLUMN tray.rpm IS 'speed measured likewise';
COMMENT ON COLUMN tray.picture IS 'the trace in few points, A, for looking at';
COMMENT ON COLUMN tray.visit_id IS 'the visit it was stored as';
COMMENT ON COLUMN tray.taken_by IS 'who took it in, stored or dropped it';
COMMENT ON COLUMN tray.recorded_at IS 'when it was taken in, UTC';

INSERT INTO last_id SELECT 'tray', 0;
INSERT INTO last_id SELECT 'clamp_check', 0;
