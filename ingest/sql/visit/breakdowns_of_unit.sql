SELECT breakdown_id FROM breakdown WHERE unit = ?;
