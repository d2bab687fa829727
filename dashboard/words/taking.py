"""Sentences about a morning's captures, alike on the page and the command line."""

from __future__ import annotations


def state_unsaid(files: str) -> str:
    """Return what follows where nobody says how the engine ran; files: how many and which, as "3 files"."""
    return (
        f"Of {files} nobody says how the engine ran, so nothing later is held against what was read, nor that"
        " against earlier readings"
    )
