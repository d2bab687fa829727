-- Captures whose every visit is older than waveforms are kept.
SELECT c.capture_hash FROM capture c JOIN visit v USING (capture_hash)
WHERE c.waveform_removed_on IS NULL
GROUP BY c.capture_hash HAVING max(v.visited_on) < ?
