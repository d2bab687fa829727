"""A folder of captures in, measured and matched to units; visits out, and a tray of those that wait."""
