"""Readings over distance and a fleet's constants in, beliefs about each pump's damages and its risk out."""
