CREATE INDEX ON reading (visit_id, method_version DESC, reading_id DESC);
CREATE INDEX ON visit (pump_id);
CREATE INDEX ON visit (unit);
CREATE INDEX ON visit (capture_hash);
CREATE INDEX ON pump (unit);
CREATE INDEX ON service (unit);
CREATE INDEX ON question (table_name, row_key);
CREATE INDEX ON change_log (table_name, row_key);
