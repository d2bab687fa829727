"""Which values a setting can have: of its default's kind, finite, not 0 where something is divided by it."""

from __future__ import annotations

import json
import re
from typing import Any

from ingest.errors import EntryRefused
from ingest.trade_numbers import SETTINGS
from ingest.typed import demand_finite, tidy

_WORDS = {"distance_unit": ("mi", "km"), "records_are": ("real", "invented")}
# Closed ranges by the end of a setting's name; the first that fits holds.
_RANGES: tuple[tuple[str, float, float], ...] = (
    ("reference_supply_v", 5, 60),
    ("probe_factor_ratio", 1.5, 1e6),
    ("planned_replacement", 0.01, 1e12),
    ("failure_replacement", 0.01, 1e12),
    ("plan_horizon_days", 1, 3660),
    ("plan_service_level", 0.01, 0.9999),
    ("baseline_visits", 1, 1000),
    ("next_capture_days", 1, 36600),
    ("next_capture_km", 1, 2e7),
    ("work_starts", 0, 24),
    ("work_ends", 0, 24),
    ("pressure_high_share", 0.5, 10),
    ("_share", 0, 1),
    ("_pct", 0, 1000),
    ("_v", 0, 60),
    ("_days", 0, 36600),
    ("_c", -100, 200),
    ("", 0, 2e7),
)


def demand_value(key: str, value: Any, where: str = "") -> None:
    """Raise EntryRefused for a value that a setting can't have. where: said before the setting's name."""
    name = f"{where}{key}"
    default = SETTINGS[key].default
    number = isinstance(default, int | float) and not isinstance(default, bool)
    kind: Any = int | float if number else type(default)
    if not isinstance(value, kind) or (number and isinstance(value, bool)):
        what = "a number" if number else f"like {default!r}"
        raise EntryRefused("bad-setting", f"{name}: {_short(value)} should be {what}.")
    if key in _WORDS and value not in _WORDS[key]:
        words = " or ".join(map(repr, _WORDS[key]))
        raise EntryRefused("bad-setting", f"{name}: {_short(value)} is not {words}.")
    if key == "currency" and not re.fullmatch(r"[^\W\d_]{1,10}|[^\w\s<>\[\]()!`*#$\\|:]|\$", value):
        raise EntryRefused("bad-setting", f"{name}: {_short(value)} is no currency; write it like USD.")
    demand_finite(name, value)
    if number:
        low, high = next((low, high) for end, low, high in _RANGES if key.endswith(end))
        if not low <= value <= high:
            raise EntryRefused(
                "bad-setting", f"{name}: {value:g} is impossible; it must lie between {low:g} and {high:g}."
            )
        return
    try:
        written = json.dumps(value, ensure_ascii=False)
    except TypeError as error:  # a date of TOML's, for one
        raise EntryRefused(
            "bad-setting", f"{name}: write days in quotes, and only texts, numbers, lists and tables."
        ) from error
    except RecursionError as error:
        raise EntryRefused("bad-setting", f"{name}: it is nested too deeply.") from error
    tidy(value if isinstance(value, str) else written, name)


def _short(value: Any) -> str:
    said = repr(value)
    return said if len(said) <= 80 else f"{said[:60]}…"
