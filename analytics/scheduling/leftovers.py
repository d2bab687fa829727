"""What is not on the plan: worth doing but not to be fitted, of note but not worth it yet."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analytics.money.decision import NEXT_STOP, NOT_SAFER, TIMES
from analytics.past.frames import each
from analytics.risk.parts_ahead import lead_of
from analytics.risk.workdays import Workdays
from analytics.scheduling.assignment import Assignment
from analytics.scheduling.candidates import costed
from analytics.scheduling.inputs import Inputs
from analytics.wording import remark, remark_columns
from ingest.trade_numbers import LEAD_DAYS

MOST_NOTED = 0.2  # risk over one interval from which a pump that nothing is done about is listed with why
OTHER_COLUMNS = [
    "pump_id", "unit", "position", "pump_type", "depot", "class", "risk", "risk_to_next_stop", "action",
    "worth_on_cost", "because", "benefit", "why", "why_code", "why_values",
    "next_step", "reason",
]  # fmt: skip


def others(pumps: pd.DataFrame) -> pd.DataFrame:
    """Return pumps outside the plan, with room for why and the next step."""
    room = {"why": "", "why_code": "", "why_values": None, "next_step": ""}
    return pumps.assign(worth_on_cost=pumps["benefit"] >= 0, **room).reindex(columns=OTHER_COLUMNS)


def waiting(pumps: pd.DataFrame, free: np.ndarray) -> pd.DataFrame:
    """Return pumps that don't do their work, have a finished finding, a step that it asks for, or a high
    risk, about which nothing is worth doing yet; free: bool, neither planned nor settled by a person."""
    finished, idle = pumps["finished"].to_numpy(bool), pumps["not_working"].to_numpy(bool)
    finding = pumps["finding_action"].to_numpy(object)
    risky = (pumps["risk"] >= MOST_NOTED).to_numpy()
    asked = np.isin(
        finding, ("check circuit", "check filter or strainer", "check delivery", "repeat capture")
    )
    rows = free & (finished | risky | asked | idle)
    no_safer = (pumps["because"] == NOT_SAFER).to_numpy()
    why = np.select(
        [idle, finished, no_safer, risky],
        [
            "not-working",
            "finding-not-worth",
            "no-safer",
            "risk-not-worth",
        ],
        "step-not-worth",
    )
    told = remark_columns("why", [remark(code) for code in why[rows]])
    made = others(pumps[rows]).assign(**told, next_step=pumps["action_text"][rows])
    first = made["why_code"] == "not-working"
    return made.assign(first=first).sort_values(
        ["first", "risk"], ascending=False, ignore_index=True
    ).drop(columns="first")  # fmt: skip


def unplaced(
    inputs: Inputs,
    solved: Assignment,
    candidates: pd.DataFrame,
    lead: pd.Series,
    free: dict[tuple[str, object], float],
    horizon_days: int,
) -> pd.DataFrame:
    """Return pumps about which something is worth doing that can't be fitted, with why."""
    pumps = inputs.pumps
    left = pumps["pump_id"].isin(solved.unplaced).to_numpy()
    offered = candidates[candidates["pump_id"].isin(solved.unplaced)]
    by_pump = dict(list(offered.groupby("pump_id"))) if len(offered) else {}
    nothing = candidates.iloc[:0]
    last = pd.Timestamp(inputs.today) + pd.Timedelta(days=horizon_days)
    saved = _saved_by_waiting(inputs, np.flatnonzero(left), lead)
    why = []
    for row in each(pumps[left]):
        mine = by_pump.get(row.pump_id, nothing)
        retires, stop = pd.Timestamp(row.retires_on), pd.Timestamp(row.next_stop_on)
        if mine.empty and retires <= max(stop, last):
            why.append(remark("retires-first", day=retires))
        elif mine.empty and stop > last and row.at == TIMES[NEXT_STOP]:
            less = {"saved": max(saved.get(row.pump_id, 0.0), 0.0), "currency": inputs.book.currency}
            why.append(remark("beyond-horizon", day=stop, days=horizon_days, **less))
        elif mine.empty:
            why.append(remark("no-stop", days=horizon_days))
        elif mine["early"].all():
            why.append(remark("no-part", days=round(lead.get(row.pump_type, LEAD_DAYS))))
        elif not any(
            free.get((depot, week), np.inf) >= hours
            for depot, week, hours in zip(mine["depot"], mine["week"], mine["hours"], strict=True)
        ):
            why.append(remark("no-hours", depot=row.depot))
        else:
            why.append(remark("others-first"))
    made = others(pumps[left]).assign(**remark_columns("why", why), next_step=pumps["action_text"][left])
    return made.sort_values("risk", ascending=False, na_position="first", ignore_index=True)


def _saved_by_waiting(inputs: Inputs, rows: np.ndarray, lead: pd.Series) -> dict[int, float]:
    """Return by pump_id what its job costs less at its next stop than at the first stop of its own, K there
    less K here (planning.py); rows of pumps."""
    if not len(rows):
        return {}
    pumps = inputs.pumps.iloc[rows]
    notice = int(inputs.settings["extra_stop_days"])
    wait = np.maximum(np.ceil(lead_of(pumps["pump_type"], lead)).to_numpy(), notice)
    day = np.datetime64(inputs.today, "D") + wait.astype("timedelta64[D]")
    own = Workdays(inputs.settings).forward(day, pumps["depot"].fillna("").to_numpy(object))
    offer = pd.DataFrame(
        {"row": rows, "pump_id": pumps["pump_id"].to_numpy(), "unit": pumps["unit"].to_numpy()}
    )
    both = pd.concat(
        [
            offer.assign(planned_on=pd.to_datetime(pumps["next_stop_on"]).to_numpy(), extra_cost=0.0),
            offer.assign(planned_on=pd.to_datetime(own), extra_cost=pumps["extra_stop"].to_numpy(float)),
        ],
        ignore_index=True,
    ).assign(own_stop=lambda frame: np.arange(len(frame)) >= len(rows))
    dear = costed(both, inputs, lead).pivot_table(index="pump_id", columns="own_stop", values="K")
    if not {True, False} <= set(dear):
        return {}
    less = dear[True] - dear[False]
    return dict(zip(less.index.astype(int).tolist(), less.astype(float).tolist(), strict=True))
