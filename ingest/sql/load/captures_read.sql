-- Captures that have a reading, which are not measured again, each with the speed its newest reading has.
SELECT capture_hash, max_by(rpm, (method_version, reading_id)) AS rpm
FROM reading
WHERE capture_hash IS NOT NULL
GROUP BY capture_hash;
