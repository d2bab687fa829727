-- What a person bound to depots reads instead of the tables: the same names, found before them. {ledger} is the
-- ledger's own schema; the depots are put into bound_depot first.
CREATE TEMP VIEW vehicle AS
SELECT * FROM {ledger}.vehicle WHERE depot IN (SELECT depot FROM temp.main.bound_depot);
CREATE TEMP VIEW pump AS
SELECT * FROM {ledger}.pump WHERE unit IN (SELECT unit FROM temp.main.vehicle);
CREATE TEMP VIEW visit AS
SELECT * FROM {ledger}.visit WHERE unit IN (SELECT unit FROM temp.main.vehicle);
CREATE TEMP VIEW reading AS
SELECT * FROM {ledger}.reading WHERE visit_id IN (SELECT visit_id FROM temp.main.visit);
CREATE TEMP VIEW current_reading AS
SELECT * FROM {ledger}.current_reading WHERE visit_id IN (SELECT visit_id FROM temp.main.visit);
CREATE TEMP VIEW visit_detail AS
SELECT * FROM {ledger}.visit_detail WHERE unit IN (SELECT unit FROM temp.main.vehicle);
CREATE TEMP MACRO visit_rows(of_pump) AS TABLE
SELECT * FROM {visit_rows}(of_pump) WHERE unit IN (SELECT unit FROM temp.main.vehicle);
CREATE TEMP VIEW capture AS
SELECT * FROM {ledger}.capture WHERE capture_hash IN (SELECT capture_hash FROM temp.main.visit);
CREATE TEMP VIEW service AS
SELECT * FROM {ledger}.service WHERE unit IN (SELECT unit FROM temp.main.vehicle);
CREATE TEMP VIEW breakdown AS
SELECT * FROM {ledger}.breakdown WHERE unit IN (SELECT unit FROM temp.main.vehicle);
CREATE TEMP VIEW odometer AS
SELECT * FROM {ledger}.odometer WHERE unit IN (SELECT unit FROM temp.main.vehicle);
CREATE TEMP VIEW due_work AS
SELECT * FROM {ledger}.due_work WHERE unit IN (SELECT unit FROM temp.main.vehicle);
CREATE TEMP VIEW booking AS
SELECT * FROM {ledger}.booking WHERE pump_id IN (SELECT pump_id FROM temp.main.pump);
CREATE TEMP VIEW told_forecast AS
SELECT * FROM {ledger}.told_forecast WHERE pump_id IN (SELECT pump_id FROM temp.main.pump);
CREATE TEMP VIEW stock AS
SELECT * FROM {ledger}.stock WHERE depot IN (SELECT depot FROM temp.main.bound_depot);
CREATE TEMP VIEW bay_hours AS
SELECT * FROM {ledger}.bay_hours WHERE depot IN (SELECT depot FROM temp.main.bound_depot);
CREATE TEMP VIEW claim_step AS
SELECT * FROM {ledger}.claim_step WHERE pump_id IN (SELECT pump_id FROM temp.main.pump);
CREATE TEMP VIEW photo AS
SELECT * FROM {ledger}.photo WHERE visit_id IN (SELECT visit_id FROM temp.main.visit);
-- A hold is seen where a pump or a part in stock is of it, without who else it names.
CREATE TEMP VIEW hold AS
SELECT h.* REPLACE (
    CAST(NULL AS VARCHAR) AS held_by, CAST(NULL AS VARCHAR) AS lifted_by,
    CASE WHEN list_has_any(regexp_extract_all(h.reason, '[\w-]+'),
            (SELECT coalesce(list(unit), []) FROM {ledger}.vehicle
             WHERE unit NOT IN (SELECT unit FROM temp.main.vehicle)))
        THEN 'for a reason that the fleet''s planner knows' ELSE h.reason END AS reason,
    CAST(NULL AS VARCHAR) AS lifted_because
)
FROM {ledger}.hold h
WHERE EXISTS (
        SELECT 1 FROM temp.main.pump p
        WHERE p.pump_type = h.pump_type AND (h.lot IS NULL OR p.lot = h.lot)
    )
    OR EXISTS (SELECT 1 FROM temp.main.stock s WHERE s.pump_type = h.pump_type AND s.on_hand > 0);
CREATE TEMP VIEW hold_closed AS
SELECT * FROM {ledger}.hold_closed
WHERE pump_id IN (SELECT pump_id FROM temp.main.pump)
    OR (pump_id IS NULL AND depot IN (SELECT depot FROM temp.main.bound_depot));
-- A question that names another unit than its own is asked of those who see both.
CREATE TEMP VIEW question AS
SELECT * FROM {ledger}.question
WHERE unit IN (SELECT unit FROM temp.main.vehicle)
    AND len(list_filter(
        regexp_extract_all(coalesce(text, ''), '[Uu]nits? ([^ ,.;:?()]+)', 1),
        lambda named: named <> regexp_extract(unit, '^[^ ,.;:?()]+')
    )) = 0
    AND NOT list_has_any(
        flatten([regexp_extract_all(coalesce(CAST(details AS VARCHAR), ''), '"((?:[^"\\]|\\.)*)"', 1)]),
        (SELECT coalesce(list(unit), []) FROM {ledger}.vehicle
         WHERE unit NOT IN (SELECT unit FROM temp.main.vehicle))
    );
CREATE TEMP VIEW change_log AS
SELECT * FROM {ledger}.change_log
WHERE CASE table_name
    WHEN 'vehicle' THEN row_key IN (SELECT unit FROM temp.main.vehicle)
    WHEN 'pump' THEN row_key IN (SELECT CAST(pump_id AS VARCHAR) FROM temp.main.pump)
    WHEN 'visit' THEN row_key IN (SELECT CAST(visit_id AS VARCHAR) FROM temp.main.visit)
    WHEN 'service' THEN row_key IN (SELECT CAST(service_id AS VARCHAR) FROM temp.main.service)
    WHEN 'breakdown' THEN row_key IN (SELECT CAST(breakdown_id AS VARCHAR) FROM temp.main.breakdown)
    WHEN 'booking' THEN row_key IN (SELECT CAST(booking_id AS VARCHAR) FROM temp.main.booking)
    ELSE FALSE
END;
CREATE TEMP VIEW tray AS
SELECT * FROM {ledger}.tray WHERE unit IS NULL OR unit IN (SELECT unit FROM temp.main.vehicle);
-- What holds for the whole fleet is seen, but not who set it.
CREATE TEMP VIEW setting AS
SELECT * REPLACE (CAST(NULL AS VARCHAR) AS set_by) FROM {ledger}.setting;
CREATE TEMP VIEW cost_entry AS
SELECT * REPLACE (CAST(NULL AS VARCHAR) AS set_by) FROM {ledger}.cost_entry
WHERE depot IS NULL OR depot IN (SELECT depot FROM temp.main.bound_depot);
CREATE TEMP VIEW brought_row AS
SELECT * FROM {ledger}.brought_row
WHERE table_name = 'vehicle' AND row_key IN (SELECT unit FROM temp.main.vehicle);
CREATE TEMP VIEW plan_list AS
SELECT * FROM {ledger}.plan_list WHERE FALSE
