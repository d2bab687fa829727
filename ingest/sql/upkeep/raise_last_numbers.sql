-- After rows were brought in with their numbers: new ones go on after the highest.
UPDATE last_id SET id = greatest(last_id.id, newest.id)
FROM (
    SELECT 'pump' AS table_name, coalesce(max(pump_id), 0) AS id FROM pump
    UNION ALL SELECT 'visit' AS table_name, coalesce(max(visit_id), 0) AS id FROM visit
    UNION ALL SELECT 'reading' AS table_name, coalesce(max(reading_id), 0) AS id FROM reading
    UNION ALL SELECT 'service' AS table_name, coalesce(max(service_id), 0) AS id FROM service
    UNION ALL SELECT 'breakdown' AS table_name, coalesce(max(breakdown_id), 0) AS id FROM breakdown
    UNION ALL SELECT 'connection_note' AS table_name, coalesce(max(note_id), 0) AS id FROM connection_note
    UNION ALL SELECT 'fit' AS table_name, coalesce(max(fit_id), 0) AS id FROM fit
    UNION ALL SELECT 'plan_list' AS table_name, coalesce(max(list_id), 0) AS id FROM plan_list
    UNION ALL SELECT 'booking' AS table_name, coalesce(max(booking_id), 0) AS id FROM booking
    UNION ALL SELECT 'cost_entry' AS table_name, coalesce(max(cost_id), 0) AS id FROM cost_entry
    UNION ALL SELECT 'question' AS table_name, coalesce(max(question_id), 0) AS id FROM question
    UNION ALL SELECT 'setting' AS table_name, coalesce(max(setting_id), 0) AS id FROM setting
    UNION ALL SELECT 'change_log' AS table_name, coalesce(max(change_id), 0) AS id FROM change_log
    UNION ALL SELECT 'tray' AS table_name, coalesce(max(tray_id), 0) AS id FROM tray
    UNION ALL SELECT 'clamp_check' AS table_name, coalesce(max(check_id), 0) AS id FROM clamp_check
    UNION ALL SELECT 'claim_step' AS table_name, coalesce(max(step_id), 0) AS id FROM claim_step
    UNION ALL SELECT 'hold' AS table_name, coalesce(max(hold_id), 0) AS id FROM hold
    UNION ALL SELECT 'hold_closed' AS table_name, coalesce(max(closed_id), 0) AS id FROM hold_closed
    UNION ALL SELECT 'photo' AS table_name, coalesce(max(photo_id), 0) AS id FROM photo
) AS newest
WHERE newest.table_name = last_id.table_name
