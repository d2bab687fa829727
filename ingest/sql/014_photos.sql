-- Photos of a visit and of where it was clamped: shrunk on arrival, without what a camera writes beside them.

CREATE TABLE photo (
    photo_id BIGINT PRIMARY KEY, visit_id BIGINT NOT NULL, shows VARCHAR NOT NULL, picture BLOB,
    picture_hash VARCHAR NOT NULL, taken_by VARCHAR, ref VARCHAR, recorded_at TIMESTAMP NOT NULL
);
COMMENT ON TABLE photo IS 'Photos of a visit.';
COMMENT ON COLUMN photo.photo_id IS 'number of the photo';
COMMENT ON COLUMN photo.visit_id IS 'of which visit';
COMMENT ON COLUMN photo.shows IS 'visit, or clamp_point: where it was clamped';
COMMENT ON COLUMN photo.picture IS 'JPEG, at most 1,600 pixels a side; empty: no longer kept';
COMMENT ON COLUMN photo.picture_hash IS 'SHA-256 of the file as it came, by which the same photo is known';
COMMENT ON COLUMN photo.taken_by IS 'who added it';
COMMENT ON COLUMN photo.ref IS 'the source''s own row id';
COMMENT ON COLUMN photo.recorded_at IS 'when it was added, UTC';

INSERT INTO last_id SELECT 'photo', 0;
