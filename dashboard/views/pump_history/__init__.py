"""One pump: its readings, work, outlook and waveforms."""
