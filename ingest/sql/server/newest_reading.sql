LEFT JOIN LATERAL (
    SELECT * FROM reading AS n WHERE n.visit_id = v.visit_id
    ORDER BY n.method_version DESC, n.reading_id DESC LIMIT 1
) AS r ON TRUE
