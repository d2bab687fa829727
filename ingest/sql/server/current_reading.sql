CREATE VIEW current_reading AS
SELECT DISTINCT ON (visit_id) * FROM reading ORDER BY visit_id, method_version DESC, reading_id DESC
