"""A plan for some depots, types or classes only."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from analytics.scheduling.lines import saving_range
from analytics.scheduling.planning import Plan

FRAMES = ("lines", "checks", "unplaced", "waiting", "rejected", "bays", "parts", "picks", "cancelled")
WAYS = {"depot": "depot", "type": "pump_type", "class": "class"}


def kept_rows(frame: pd.DataFrame, chosen: dict[str, Sequence[str]]) -> pd.DataFrame:
    """Return the rows that fit every choice (by depot, type, class); a column that is not there fits all."""
    keep = np.ones(len(frame), bool)
    for name, values in chosen.items():
        if values and WAYS[name] in frame:
            keep &= frame[WAYS[name]].isin(list(values)).to_numpy()
    return frame[keep].reset_index(drop=True)


def narrowed(plan: Plan, chosen: dict[str, Sequence[str]]) -> Plan:
    """Return the plan with those rows only and the saving of its changes; days stay as the whole fleet has
    them."""
    if not any(chosen.values()):
        return plan
    frames: dict[str, Any] = {name: kept_rows(getattr(plan, name), chosen) for name in FRAMES}
    low, high, saving = saving_range(frames["lines"])
    mine = set(frames["lines"]["pump_id"]) | set(frames["checks"]["pump_id"])
    changes = plan.changes[plan.changes["pump_id"].isin(mine)].reset_index(drop=True)
    return replace(plan, **frames, changes=changes, expected_saving=saving, saving_low=low, saving_high=high)
