"""Captures taken in that wait until their unit is confirmed or named."""
