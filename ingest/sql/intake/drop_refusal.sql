-- A file that was refused before and comes again, with other bytes or readable now: its refusal goes.
DELETE FROM tray WHERE status = 'refused'
    AND (file_hash = $file_hash OR (file_name = $file_name AND file_hash <> $file_hash));
