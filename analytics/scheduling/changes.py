"""What changed since the last list, and why."""

from __future__ import annotations

from typing import Any

import pandas as pd

from analytics.money.decision import FAILED
from analytics.wording import Remark, remark, remark_columns

COLUMNS = ["pump_id", "unit", "position", "what", "before", "after"]
WHY = ["why", "why_code", "why_values"]


def changes_since(
    previous: pd.DataFrame | None, lines: pd.DataFrame, pumps: pd.DataFrame, decided: pd.Series
) -> pd.DataFrame:
    """Compare a plan's lines with the last list kept: one row per pump that came, went or moved.

    previous: pump_id, unit, position, planned_on, risk, action, status, planned, failure, or None (no list
    yet). pumps: all in service with risk and action; decided: status of a person's decision, by row of pumps.
    """
    if previous is None:
        return pd.DataFrame(columns=[*COLUMNS, *WHY])
    old = previous.set_index("pump_id")
    new = lines.set_index("pump_id")
    now = pumps.assign(decided=decided).set_index("pump_id")
    rows = []
    for pump_id in new.index.difference(old.index, sort=False):
        line = new.loc[pump_id]
        why = remark("action-now", action=line["action"], risk_pct=100 * line["risk"])
        if line["because"] == FAILED:
            why = remark("change-failed")
        if line["status"] != "proposed":
            why = remark("person-booked")
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
    made = pd.DataFrame([row[:-1] for row in rows], columns=COLUMNS)
    return made.assign(**remark_columns("why", [row[-1] for row in rows]))


def _gone(pump_id: int, line: pd.Series, now: pd.DataFrame) -> Remark:
    if pump_id not in now.index:
        return remark("out-of-service")
    state: Any = now.loc[pump_id]
    if state["decided"] == "rejected":
        return remark("person-rejected")
    if state["decided"] == "done":
        return remark("was-done")
    if state["option"] != "nothing":
        return remark("not-fitted")
    if _repriced(line, state):
        return remark("prices-changed")
    if state["risk"] < line["risk"] - 0.02:
        fell = {"before_pct": 100 * line["risk"], "after_pct": 100 * state["risk"]}
        seen = pd.Timestamp(state["last_visited_on"]) if state["last_visited_on"] is not None else pd.NaT
        if pd.isna(seen):
            return remark("risk-fell", **fell)
        return remark("risk-fell-with-reading", day=seen, **fell)
    return remark("no-longer-pays")


def _moved(before: pd.Series, after: pd.Series) -> Remark:
    if after["status"] != "proposed":
        return remark("person-moved")
    if abs(after["risk"] - before["risk"]) >= 0.02:
        return remark("risk-went", before_pct=100 * before["risk"], after_pct=100 * after["risk"])
    if _repriced(before, after):
        return remark("prices-changed")
    return remark("places-changed")


def _repriced(before: pd.Series, after: pd.Series) -> bool:
    return any(abs(float(before[name]) - float(after[name])) > 0.005 for name in ("planned", "failure"))
