"""Readings over distance in, lines with their uncertainty and when they cross a limit out."""
