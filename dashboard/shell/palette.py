"""Colours of the charts, one set for paper and one for slate.

The series colours keep apart for the common kinds of colour blindness and in grey
(tests/pages/test_palette.py);
no chart relies on colour alone: lines differ in dash, points in shape, parts in their written label.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Palette:
    """Named colours as hex text: paper and ink, rules of the page, and the series."""

    paper: str
    ink: str
    faint: str  # secondary text and axes
    rule: str  # grid lines
    band: str  # areas behind data
    edge: str  # their outlines, and rules behind data: 3 : 1 where the area itself is paler
    filled: str  # the fullest cell of a table of shades, on which ink is still read
    main: str  # the pump's own data
    wear: str
    drag: str
    sudden: str
    other: str


LIGHT = Palette(
    paper="#fbf8f1",
    ink="#22303a",
    faint="#424b54",
    rule="#e4dccb",
    band="#e3d9c0",
    edge="#8a8170",
    filled="#97b2b1",
    main="#1d5c63",
    wear="#a85a00",
    drag="#2f5fa8",
    sudden="#8d8d82",
    other="#7e3f73",
)
DARK = Palette(
    paper="#14191c",
    ink="#ece6d9",
    faint="#b5b1a6",
    rule="#2a3338",
    band="#333d40",
    edge="#6f7d86",
    filled="#3d6564",
    main="#6fc2bd",
    wear="#e3a64f",
    drag="#94b6f0",
    sudden="#74746c",
    other="#d39ac8",
)
