SELECT capture_hash FROM capture WHERE waveform_removed_on IS NULL ORDER BY 1
