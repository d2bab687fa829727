"""An evenly sampled current in, a reading out: settled run, sparks, turns, speed, ripple, quality."""
