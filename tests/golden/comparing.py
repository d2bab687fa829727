"""Where two tables of figures differ."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any


def path_of(name: str) -> Path:
    """Return the file that keeps the figures `name`."""
    return Path(__file__).with_name(f"{name}.json")


def differences(kept: Any, now: Any, close: float, at: str = "") -> list[str]:
    """Return "place: before -> now" of every figure that differs by more than the share `close`."""
    if isinstance(kept, dict) and isinstance(now, dict):
        places = sorted(kept.keys() | now.keys())
        missing = object()
        parts = [
            differences(kept.get(k, missing), now.get(k, missing), close, f"{at}/{k}")
            if k in kept and k in now
            else [f"{at}/{k}: {'gone' if k in kept else 'new'}"]
            for k in places
        ]
        return [line for part in parts for line in part]
    if isinstance(kept, list) and isinstance(now, list) and len(kept) == len(now):
        pairs = enumerate(zip(kept, now, strict=True))
        return [line for i, (a, b) in pairs for line in differences(a, b, close, f"{at}/{i}")]
    numbers = all(isinstance(v, int | float) and not isinstance(v, bool) for v in (kept, now))
    same = math.isclose(kept, now, rel_tol=close, abs_tol=1e-9) if numbers else kept == now
    return [] if same else [f"{at}: {kept} -> {now}"]
