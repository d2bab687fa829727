"""The plan: which pump is changed, checked first or not, and which only checked, on which day.

What is worth doing about a pump, and whether it pays to make a stop for it, was decided in money
(analytics/money/decision.py); here its day is found among the unit's planned stops, stops of its own and,
while it stands there, the bay, within working days, bay hours, parts and the unit's retirement. A job whose
stop lies behind a distance d costs

    K(d) = Cf·F(d) + W·(1 − F(d)) − g·∫₀^d S + (the stop's own price),

W being what the job costs at its stop. The assignment (assignment.py) makes the sum least; not to do it costs
what doing nothing does. What waiting costs is K at the stop less W at once. A job saves, against leaving the
pump for a later stop, what that costs less K(d); a change saves, against leaving it to fail, Cf − g·∫₀^∞ S −
K(d), most of which a later change would save as well.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from analytics.risk.parts_ahead import STANDING
from analytics.scheduling.assignment import assign
from analytics.scheduling.candidates import (
    NOTHING,
    cost_of_leaving,
    fixed_lines,
    free_hours,
    lead_days,
    make_candidates,
    parts_on_hand,
    stops_ahead,
)
from analytics.scheduling.changes import changes_since
from analytics.scheduling.inputs import Inputs, read_inputs
from analytics.scheduling.leftovers import OTHER_COLUMNS, others, unplaced, waiting
from analytics.scheduling.lines import LINE_COLUMNS, dressed, saving_range
from analytics.scheduling.notes import notes
from analytics.scheduling.other_days import other_days
from analytics.scheduling.parts import expected_failures, parts_table, pick_list
from analytics.wording import Remark
from ingest.errors import EntryRefused


@dataclass(frozen=True)
class Plan:
    """One plan; every frame has one row per pump unless said otherwise.

    lines: booked, pinned and proposed changes, checked first or not (job), by day. checks: jobs that are a
    check only, by day. unplaced: worth doing, can't be fitted, with why. waiting: of note, but nothing is
    worth doing yet, with the next step. rejected: taken off by a person. bays: depot, week, free_hours,
    used_hours. parts: see parts.parts_table. picks: parts.pick_list. changes: unit, position, what, before,
    after, why since the last list. saving_low/high: 10-90 % range of `expected_saving`. as_of: the day
    of the last fact; today: nothing is dated before it. cancelled: jobs of lists kept that are planned no
    longer. other_days: what each job costs more in another week (other_days.py). revision: grows with every
    list kept and every decision. work_hours: opening and closing, in hours.
    """

    as_of: date
    today: date
    horizon_days: int
    currency: str
    distance_unit: str
    lines: pd.DataFrame
    checks: pd.DataFrame
    unplaced: pd.DataFrame
    waiting: pd.DataFrame
    rejected: pd.DataFrame
    bays: pd.DataFrame
    parts: pd.DataFrame
    picks: pd.DataFrame
    changes: pd.DataFrame
    expected_saving: float
    saving_low: float
    saving_high: float
    solver_seconds: float
    solver_gap: float
    notes: tuple[Remark, ...]
    cancelled: pd.DataFrame
    other_days: pd.DataFrame
    revision: int
    work_hours: tuple[float, float]

    @property
    def saving_against_later(self) -> float:
        """What the changes of `lines` save against leaving each pump for a later stop of its unit."""
        return float(self.lines["saving_against_later"].sum()) if len(self.lines) else 0.0

    @property
    def jobs(self) -> pd.DataFrame:
        """Changes and checks in one frame."""
        both = [rows for rows in (self.lines, self.checks) if len(rows)]
        return pd.concat(both or [self.lines], ignore_index=True)


def plan(
    ledger: Path,
    *,
    as_of: date | None = None,
    horizon_days: int | None = None,
    service_level: float | None = None,
) -> Plan:
    """Plan from the ledger as of a day (default: the last dated fact, with nothing dated before today).

    horizon_days: how far ahead work is planned (default 120). service_level: for stock (default 0.95).
    Raises EntryRefused for a horizon, interval or level that makes no sense, LedgerError without a ledger.
    """
    return make_plan(read_inputs(ledger, as_of), horizon_days, service_level)


def make_plan(inputs: Inputs, horizon_days: int | None = None, service_level: float | None = None) -> Plan:
    """As `plan`, from inputs already read."""
    if horizon_days is None:
        horizon_days = int(inputs.settings["plan_horizon_days"])
    if horizon_days < 1:
        raise EntryRefused(
            "bad-horizon", f"The plan's horizon is {horizon_days} days; it must be at least 1."
        )
    if service_level is None:
        service_level = float(inputs.settings["plan_service_level"])
    pumps = inputs.pumps
    decided = inputs.decisions.set_index("pump_id") if len(inputs.decisions) else pd.DataFrame()
    status = _decided(pumps, decided, "status").fillna("")
    fixed = status.isin(STANDING).to_numpy()
    rejected = (status == "rejected").to_numpy()
    placed = (pumps["option"] != NOTHING).to_numpy() & ~fixed & ~rejected

    stops = stops_ahead(inputs, horizon_days)
    lead = lead_days(inputs)
    candidates = make_candidates(inputs, stops, np.flatnonzero(placed), lead, horizon_days)
    booked = fixed_lines(inputs, stops, np.flatnonzero(fixed), decided)
    free = free_hours(inputs, booked, horizon_days)
    on_hand = parts_on_hand(inputs, booked)
    leaving = cost_of_leaving(pumps, candidates, np.flatnonzero(placed))
    share = float(inputs.settings["plan_shared_share"])
    solved = assign(candidates, leaving, free, on_hand, share)

    new_lines = candidates.loc[solved.chosen.to_numpy()].assign(status="proposed")
    lines = pd.concat([booked, new_lines], ignore_index=True) if len(booked) else new_lines
    elsewhere = other_days(inputs, stops, lines, lead, horizon_days)
    lines = dressed(lines, inputs, lead, decided, share)
    changing = (lines["job"] != "check").to_numpy() if len(lines) else np.zeros(0, bool)
    changes, checks = lines[changing].reset_index(drop=True), lines[~changing].reset_index(drop=True)
    left = unplaced(inputs, solved, candidates, lead, free, horizon_days)
    done = fixed | rejected | placed
    turned_down = others(pumps[rejected]).assign(
        why=_decided(pumps, decided, "reason")[rejected], next_step=pumps["action_text"][rejected],
        decided_by=_decided(pumps, decided, "decided_by")[rejected],
    )  # fmt: skip
    booked_pumps = np.isin(pumps["pump_id"].to_numpy(), changes["pump_id"].to_numpy())
    failing = expected_failures(inputs, lead, booked_pumps)
    low, high, expected = saving_range(changes)
    return Plan(
        inputs.as_of, inputs.today, horizon_days, inputs.book.currency,
        str(inputs.settings["distance_unit"]),
        changes[LINE_COLUMNS], checks[LINE_COLUMNS], left[OTHER_COLUMNS],
        waiting(pumps, ~done)[OTHER_COLUMNS], turned_down[[*OTHER_COLUMNS, "decided_by"]],
        _bay_use(free, lines),
        parts_table(changes, failing, inputs.stock, inputs.today, service_level), pick_list(changes),
        changes_since(inputs.previous, lines, pumps, status),
        expected, low, high, solved.seconds, solved.gap,
        tuple(notes(inputs, lines, solved, free)), _cancelled(inputs, lines), elsewhere, inputs.revision,
        (float(inputs.settings["work_starts"]), float(inputs.settings["work_ends"])),
    )  # fmt: skip


def _decided(pumps: pd.DataFrame, decided: pd.DataFrame, column: str) -> pd.Series:
    if decided.empty or column not in decided:
        return pd.Series([None] * len(pumps), index=pumps.index, dtype=object)
    return pumps["pump_id"].map(decided[column])


def _cancelled(inputs: Inputs, lines: pd.DataFrame) -> pd.DataFrame:
    listed = inputs.listed[["pump_id", "unit", "position", "planned_on"]]
    return listed[~listed["pump_id"].isin(lines["pump_id"])].reset_index(drop=True)


def _bay_use(free: dict, lines: pd.DataFrame) -> pd.DataFrame:
    used = lines.groupby(["depot", "week"])["hours"].sum() if len(lines) else pd.Series(dtype=float)
    booked = lines[lines["status"].isin(STANDING)] if len(lines) else lines
    fixed = booked.groupby(["depot", "week"])["hours"].sum() if len(booked) else pd.Series(dtype=float)
    keys = sorted(set(free) | set(used.index))
    return pd.DataFrame(
        [
            {"depot": d, "week": w, "free_hours": free.get((d, w), np.nan) + fixed.get((d, w), 0.0),
             "used_hours": used.get((d, w), 0.0)}
            for d, w in keys
        ],
        columns=["depot", "week", "free_hours", "used_hours"],
    )  # fmt: skip
