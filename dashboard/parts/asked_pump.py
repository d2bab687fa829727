"""The pump that a page's address asks for."""

from __future__ import annotations

import re

from dashboard.data import loaders
from dashboard.shell import address


def asked_for() -> tuple[int | None, str]:
    """Return the pump that `?pump=` asks for, by a pump's number or a unit, and what it asks for in vain."""
    text = address.text("pump")
    if not text:
        return None, ""
    if re.fullmatch(r"[0-9]{1,15}", text) and len(loaders.ask("pump_head", pump_id=int(text))):
        return int(text), ""
    pumps = loaders.ask("pumps_of_unit", unit=text)
    return (int(pumps["pump_id"].iloc[0]), "") if len(pumps) else (None, text)
