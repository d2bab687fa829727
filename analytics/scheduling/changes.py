"""What changed since the last list, and why."""

from __future__ import annotations

from typing import Any

import pandas as pd

COLUMNS = ["pump_id", "unit", "position", "what", "before", "after", "why"]


def changes_since(
    previous: pd.DataFrame | None, lines: pd.DataFrame, pumps: pd.DataFrame, decided: pd.Series
) -> pd.DataFrame:
    """Compare a plan's lines with the last list kept: one row per pump that came, went or moved.

    previous: pump_id, unit, position, planned_on, risk, action, status, planned, failure, or None (no list
    yet). pumps: all in service with risk and action; decided: status of a person's decision, by row of pumps.
    """
    if previous is None:
        return pd.DataFrame(columns=COLUMNS)
    old = previous.set_index("pump_id")
    new = lines.set_index("pump_id")
    now = pumps.assign(decided=decided).set_index("pump_id")
    rows = []
    for pump_id in new.index.difference(old.index, sort=False):
        line = new.loc[pump_id]
        why = f"its action is now '{line['action']}' at a risk of {100 * line['risk']:.0f} %"
        if line["status"] != "proposed":
            why = "a person booked it"
        rows.append((pump_id, line["unit"], line["position"], "added", "", str(line["planned_on"]), why))
    for pump_id in old.index.difference(new.index, sort=False):
        line = old.loc[pump_id]
        why = _gone(pump_id, line, now)
        rows.append((pump_id, line["unit"], line["position"], "gone", str(line["planned_on"]), "", why))
    for pump_id in new.index.intersection(old.index, sort=False):
        before, after = old.loc[pump_id], new.loc[pump_id]
        if before["planned_on"] != after["planned_on"]:
            rows.append((pump_id, after["unit"], after["position"], "moved", str(before["planned_on"]),
                         str(after["planned_on"]), _moved(before, after)))  # fmt: skip
    return pd.DataFrame(rows, columns=COLUMNS)


def _gone(pump_id: int, line: pd.Series, now: pd.DataFrame) -> str:
    if pump_id not in now.index:
        return "the pump is no longer in service: taken off, sold or retired"
    state: Any = now.loc[pump_id]
    if state["decided"] == "rejected":
        return "a person rejected it"
    if state["decided"] == "done":
        return "it was done"
    if state["job"] != "nothing":
        return "it can't be fitted any more"
    if _repriced(line, state):
        return "prices changed"
    if state["risk"] < line["risk"] - 0.02:
        fell = f"its risk went from {100 * line['risk']:.0f} % to {100 * state['risk']:.0f} %"
        seen = pd.Timestamp(state["last_visited_on"]) if state["last_visited_on"] is not None else pd.NaT
        since = f" with the reading of {seen.date()}" if not pd.isna(seen) else ""
        return f"{fell}{since}, so it no longer pays"
    return "it no longer pays"


def _moved(before: pd.Series, after: pd.Series) -> str:
    if after["status"] != "proposed":
        return "a person moved it"
    if abs(after["risk"] - before["risk"]) >= 0.02:
        return f"its risk went from {100 * before['risk']:.0f} % to {100 * after['risk']:.0f} %"
    if _repriced(before, after):
        return "prices changed"
    return "stops, bay hours or parts changed"


def _repriced(before: pd.Series, after: pd.Series) -> bool:
    return any(abs(float(before[name]) - float(after[name])) > 0.005 for name in ("planned", "failure"))
