SELECT * FROM tray WHERE tray_id = ?;
