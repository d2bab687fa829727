UPDATE capture SET waveform_removed_on = ? WHERE capture_hash = ?
