-- Numbers of rows come from a table of ours: sequences and defaults that call them are not to be had on every
-- engine, and 1.5.5 can't read a table altered beside one back from the change file.

CREATE TABLE last_id (table_name VARCHAR PRIMARY KEY, id BIGINT NOT NULL);
COMMENT ON TABLE last_id IS 'The last number given to a row of each numbered table; none is given twice.';
COMMENT ON COLUMN last_id.table_name IS 'the numbered table';
COMMENT ON COLUMN last_id.id IS 'the last number given';

INSERT INTO last_id
SELECT 'pump', greatest((SELECT coalesce(max(pump_id), 0) FROM pump),
    (SELECT coalesce(max(last_value), 0) FROM duckdb_sequences() WHERE sequence_name = 'pump_seq'))
UNION ALL
SELECT 'visit', greatest((SELECT coalesce(max(visit_id), 0) FROM visit),
    (SELECT coalesce(max(last_value), 0) FROM duckdb_sequences() WHERE sequence_name = 'visit_seq'))
UNION ALL
SELECT 'reading', greatest((SELECT coalesce(max(reading_id), 0) FROM reading),
    (SELECT coalesce(max(last_value), 0) FROM duckdb_sequences() WHERE sequence_name = 'reading_seq'))
UNION ALL
SELECT 'service', greatest((SELECT coalesce(max(service_id), 0) FROM service),
    (SELECT coalesce(max(last_value), 0) FROM duckdb_sequences() WHERE sequence_name = 'service_seq'))
UNION ALL
SELECT 'breakdown', greatest((SELECT coalesce(max(breakdown_id), 0) FROM breakdown),
    (SELECT coalesce(max(last_value), 0) FROM duckdb_sequences() WHERE sequence_name = 'breakdown_seq'))
UNION ALL
SELECT 'connection_note', greatest((SELECT coalesce(max(note_id), 0) FROM connection_note),
    (SELECT coalesce(max(last_value), 0) FROM duckdb_sequences() WHERE sequence_name = 'note_seq'))
UNION ALL
SELECT 'fit', greatest((SELECT coalesce(max(fit_id), 0) FROM fit),
    (SELECT coalesce(max(last_value), 0) FROM duckdb_sequences() WHERE sequence_name = 'fit_seq'))
UNION ALL
SELECT 'plan_list', greatest((SELECT coalesce(max(list_id), 0) FROM plan_list),
    (SELECT coalesce(max(last_value), 0) FROM duckdb_sequences() WHERE sequence_name = 'list_seq'))
UNION ALL
SELECT 'booking', greatest((SELECT coalesce(max(booking_id), 0) FROM booking),
    (SELECT coalesce(max(last_value), 0) FROM duckdb_sequences() WHERE sequence_name = 'booking_seq'))
UNION ALL
SELECT 'cost_entry', greatest((SELECT coalesce(max(cost_id), 0) FROM cost_entry),
    (SELECT coalesce(max(last_value), 0) FROM duckdb_sequences() WHERE sequence_name = 'cost_seq'))
UNION ALL
SELECT 'question', greatest((SELECT coalesce(max(question_id), 0) FROM question),
    (SELECT coalesce(max(last_value), 0) FROM duckdb_sequences() WHERE sequence_name = 'question_seq'))
UNION ALL
SELECT 'change_log', greatest((SELECT coalesce(max(change_id), 0) FROM change_log),
    (SELECT coalesce(max(last_value), 0) FROM duckdb_sequences() WHERE sequence_name = 'change_seq'));

ALTER TABLE pump ALTER COLUMN pump_id DROP DEFAULT;
DROP SEQUENCE pump_seq;
ALTER TABLE visit ALTER COLUMN visit_id DROP DEFAULT;
DROP SEQUENCE visit_seq;
ALTER TABLE reading ALTER COLUMN reading_id DROP DEFAULT;
DROP SEQUENCE reading_seq;
ALTER TABLE service ALTER COLUMN service_id DROP DEFAULT;
DROP SEQUENCE service_seq;
ALTER TABLE breakdown ALTER COLUMN breakdown_id DROP DEFAULT;
DROP SEQUENCE breakdown_seq;
ALTER TABLE connection_note ALTER COLUMN note_id DROP DEFAULT;
DROP SEQUENCE note_seq;
ALTER TABLE fit ALTER COLUMN fit_id DROP DEFAULT;
DROP SEQUENCE fit_seq;
ALTER TABLE plan_list ALTER COLUMN list_id DROP DEFAULT;
DROP SEQUENCE list_seq;
ALTER TABLE booking ALTER COLUMN booking_id DROP DEFAULT;
DROP SEQUENCE booking_seq;
ALTER TABLE cost_entry ALTER COLUMN cost_id DROP DEFAULT;
DROP SEQUENCE cost_seq;
ALTER TABLE question ALTER COLUMN question_id DROP DEFAULT;
DROP SEQUENCE question_seq;
ALTER TABLE change_log ALTER COLUMN change_id DROP DEFAULT;
DROP SEQUENCE change_seq;
