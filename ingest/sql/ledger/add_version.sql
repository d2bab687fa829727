INSERT INTO schema_version VALUES (?, ?, ?)
