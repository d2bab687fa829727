"""The pump that a page's address asks for."""

from __future__ import annotations

import re

from dashboard.data import loaders
from dashboard.shell import address


def asked_for() -> tuple[int | None, str]:
    """Return the pump that an address asks for, and what it asks for in vain.

    `?pump=` is a pump's number, else a unit; `?unit=` a unit, for those whose units bear numbers.
    """
    text, unit = address.text("pump"), address.text("unit")
    if not text and not unit:
        return None, ""
    if re.fullmatch(r"[0-9]{1,15}", text) and len(loaders.ask("pump_head", pump_id=int(text))):
        return int(text), ""
    text = text or unit
    pumps = loaders.ask("pumps_of_unit", unit=text)
    return (int(pumps["pump_id"].iloc[0]), "") if len(pumps) else (None, text)
