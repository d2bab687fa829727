"""Replacements on days and bays, decided here."""
