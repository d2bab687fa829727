-- Visits as a fleet folder has them: the pump's serial, the capture's file, and metrics measured elsewhere.
SELECT
    v.*, p.serial, v.capture_hash || '.parquet' AS capture,
    {metrics}
FROM visit v
JOIN pump p USING (pump_id)
LEFT JOIN current_reading r ON r.visit_id = v.visit_id AND r.origin = 'elsewhere'
WHERE NOT v.withdrawn;
