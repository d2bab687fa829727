"""The replacement plan: which pump at which planned stop, within bay hours, parts and lead times.

Only a pump whose action is "book replacement" is planned (or one that a person booked), and only where it is
worth it on cost or its class's risk ceiling calls for it. Booking pump i at a stop after distance d costs

    K(d) = Cf·F(d) + Cp·(1 − F(d)) − g·∫₀^d S,

the chance of failing first, the change itself, and the distance still got out of the old pump at the fleet's
long-run cost g. The assignment (assignment.py) makes the sum least; what waiting costs is K at the stop less
K at once. Expected saving is against leaving the pump to fail: Cf − g·∫₀^∞ S − K(d).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from analytics.past.frames import each
from analytics.scheduling.assignment import Assignment, assign
from analytics.scheduling.candidates import (
    cost_of_leaving,
    curve_at,
    fixed_lines,
    free_hours,
    lead_days,
    make_candidates,
    parts_on_hand,
    retires_soon,
    stops_ahead,
)
from analytics.scheduling.changes import changes_since
from analytics.scheduling.inputs import Inputs, read_inputs
from analytics.scheduling.parts import order_by, parts_table
from ingest.errors import EntryRefused
from ingest.trade_numbers import LEAD_DAYS

Z80 = 1.2815515655  # normal quantile at 90 %
FAILED_OUTRIGHT = "no-current-proven-supply"
FIXED = ("booked", "pinned")
LINE_COLUMNS = [
    "pump_id", "unit", "position", "pump_type", "depot", "class", "planned_on", "week", "due_by", "status",
    "because", "action", "risk", "risk_until_then", "cost_of_waiting", "expected_saving", "hours", "order_by",
    "part", "planned", "failure", "placeholder", "reason", "cautions", "due_work", "also_at_this_stop",
    "worth_on_cost", "decided_by", "decision_reason", "vin", "make", "model", "year",
]  # fmt: skip
OTHER_COLUMNS = [
    "pump_id", "unit", "position", "pump_type", "depot", "class", "risk", "action", "worth_on_cost",
    "because", "benefit", "why", "next_step", "reason",
]  # fmt: skip


@dataclass(frozen=True)
class Plan:
    """One replacement plan; every frame has one row per pump unless said otherwise.

    lines: booked, pinned and proposed work, by day. unplaced: should be changed, can't be fitted, with why.
    waiting: risky or confirmed, but not to be changed yet, with the next step. rejected: taken off by a
    person. bays: depot, week, free_hours, used_hours. parts: see parts.parts_table. changes: unit, position,
    what, before, after, why since the last list. saving_low/high: 10–90 % range of `expected_saving`.
    """

    as_of: date
    horizon_days: int
    currency: str
    distance_unit: str
    lines: pd.DataFrame
    unplaced: pd.DataFrame
    waiting: pd.DataFrame
    rejected: pd.DataFrame
    bays: pd.DataFrame
    parts: pd.DataFrame
    changes: pd.DataFrame
    expected_saving: float
    saving_low: float
    saving_high: float
    solver_seconds: float
    solver_gap: float
    notes: tuple[str, ...]


def plan(
    ledger: Path,
    *,
    as_of: date | None = None,
    horizon_days: int | None = None,
    service_level: float | None = None,
) -> Plan:
    """Plan replacements from the ledger as of a day (default: the last dated fact).

    horizon_days: how far ahead work is booked (default 120). service_level: for stock (default 0.95).
    Raises EntryRefused for a horizon, interval or level that makes no sense, LedgerError without a ledger.
    """
    inputs = read_inputs(ledger, as_of)
    days = int(inputs.settings["plan_horizon_days"]) if horizon_days is None else horizon_days
    if days < 1:
        raise EntryRefused("bad-horizon", f"The plan's horizon is {days} days; it must be at least 1.")
    level = float(inputs.settings["plan_service_level"]) if service_level is None else service_level
    return make_plan(inputs, days, level)


def make_plan(inputs: Inputs, horizon_days: int, service_level: float) -> Plan:
    """As `plan`, from inputs already read."""
    pumps, as_of = inputs.pumps, inputs.as_of
    decided = inputs.decisions.set_index("pump_id") if len(inputs.decisions) else pd.DataFrame()
    status = _decided(pumps, decided, "status").where(lambda s: s.isin([*FIXED, "rejected"]), "")
    fixed = status.isin(FIXED).to_numpy()
    rejected = (status == "rejected").to_numpy()
    outright = (
        (pumps["rule"] == FAILED_OUTRIGHT).to_numpy() if "rule" in pumps else np.zeros(len(pumps), bool)
    )
    ordered = (pumps["action"] == "book replacement").to_numpy() & ~fixed & ~rejected
    retiring = retires_soon(pumps, inputs) & ~outright & (pumps["because"] != "risk ceiling").to_numpy()
    chosen = ordered & (pumps["worth"].to_numpy(bool) | outright)
    placed = chosen & ~retiring

    stops = stops_ahead(inputs, horizon_days)
    lead = lead_days(inputs)
    candidates = make_candidates(inputs, stops, np.flatnonzero(placed), outright, lead, horizon_days)
    booked = fixed_lines(inputs, stops, np.flatnonzero(fixed), decided)
    free = free_hours(inputs, stops, booked, horizon_days)
    on_hand = parts_on_hand(inputs, booked, lead)
    leaving = cost_of_leaving(pumps, candidates, np.flatnonzero(placed))
    share = float(inputs.settings["plan_shared_share"])
    solved = assign(candidates, leaving, free, on_hand, share)

    new_lines = candidates.loc[solved.chosen.to_numpy()].assign(status="proposed")
    lines = pd.concat([booked, new_lines], ignore_index=True) if len(booked) else new_lines
    lines = _dressed(lines, inputs, lead, decided, share, outright)
    unplaced = _unplaced(inputs, solved, candidates, lead, free, chosen & retiring, horizon_days)
    waiting = _waiting(pumps, ordered & ~chosen, fixed | rejected | chosen)
    turned_down = _others(pumps[rejected]).assign(
        why=_decided(pumps, decided, "reason")[rejected], next_step=pumps["action_text"][rejected]
    )
    level_parts = parts_table(lines, _expected_failures(inputs, lead), inputs.stock, as_of, service_level)
    low, high, expected = _saving_range(lines, inputs)
    return Plan(
        as_of, horizon_days, inputs.book.currency, str(inputs.settings["distance_unit"]),
        lines[LINE_COLUMNS], unplaced[OTHER_COLUMNS], waiting[OTHER_COLUMNS], turned_down[OTHER_COLUMNS],
        _bay_use(free, lines), level_parts,
        changes_since(inputs.previous, lines, pumps, status), expected, low, high, solved.seconds, solved.gap,
        tuple(_notes(inputs, lines, solved)),
    )  # fmt: skip


def _decided(pumps: pd.DataFrame, decided: pd.DataFrame, column: str) -> pd.Series:
    if decided.empty:
        return pd.Series([None] * len(pumps), index=pumps.index, dtype=object)
    return pumps["pump_id"].map(decided[column])


def _dressed(
    lines: pd.DataFrame,
    inputs: Inputs,
    lead: pd.Series,
    decided: pd.DataFrame,
    share: float,
    outright: np.ndarray,
) -> pd.DataFrame:
    from analytics.judging.safety import FIRST

    if not len(lines):
        return pd.DataFrame(columns=LINE_COLUMNS)
    pumps = inputs.pumps.iloc[lines["row"].to_numpy(int)].reset_index(drop=True)
    lines = lines.reset_index(drop=True)
    names = [
        "position", "class", "action", "risk", "planned", "failure", "placeholder", "reason", "vin", "make",
        "model", "year",
    ]  # fmt: skip
    lines = lines.assign(**{name: pumps[name] for name in names})
    lines["because"] = np.where(outright[lines["row"]], "failed outright", pumps["because"])
    lines["because"] = lines["because"].where(lines["status"] == "proposed", "a person's booking")
    lines["worth_on_cost"] = pumps["benefit"] >= 0
    first = lines["pump_id"].map(_first_cost(inputs, lines))
    lines["cost_of_waiting"] = (lines["K"] - first).clip(lower=0)
    lines["expected_saving"] = lines["to_failure"] - lines["K"]
    lines["planned_on"] = lines["planned_on"].dt.date
    lines = lines.sort_values(["planned_on", "depot", "unit", "position"], ignore_index=True)
    wait = lines["pump_type"].map(lead).fillna(LEAD_DAYS)
    stock = {(r.depot, r.pump_type): int(r.on_hand) for r in each(inputs.stock)}
    part, by = [], []
    for row, days in zip(each(lines), wait, strict=True):
        left = stock.get((row.depot, row.pump_type), 0)
        stock[(row.depot, row.pump_type)] = left - 1
        day = order_by(row.planned_on, days)
        part.append("on hand" if left > 0 else f"order by {day}")
        by.append(None if left > 0 else day)
    lines["part"], lines["order_by"] = part, by
    same = lines.groupby(["unit", "planned_on"])["pump_id"].transform("size")
    lines["also_at_this_stop"] = same - 1
    rank_at_stop = lines.groupby(["unit", "planned_on"]).cumcount()
    lines["hours"] = lines["hours"] * np.where(rank_at_stop > 0, 1 - share, 1.0)
    lines["due_work"] = _due_with(lines, inputs)
    lines["cautions"] = FIRST
    lines["decided_by"] = lines["pump_id"].map(decided["decided_by"]) if len(decided) else None
    lines["decision_reason"] = lines["pump_id"].map(decided["reason"]) if len(decided) else None
    return lines


def _first_cost(inputs: Inputs, lines: pd.DataFrame) -> dict[int, float]:
    """Return K of changing each pump at once."""
    rows = lines["row"].to_numpy(int)
    return dict(zip(lines["pump_id"], inputs.pumps["planned"].iloc[rows].to_numpy(float), strict=True))


def _due_with(lines: pd.DataFrame, inputs: Inputs) -> list[str]:
    """Return the unit's other work due by its stop, as text."""
    by_unit = dict(list(inputs.due_work.groupby("unit"))) if len(inputs.due_work) else {}
    out = []
    for row in each(lines):
        due = by_unit.get(row.unit)
        if due is None:
            out.append("")
            continue
        near = due[pd.to_datetime(due["due_on"]) <= pd.Timestamp(row.planned_on) + pd.Timedelta(days=30)]
        out.append(
            "; ".join(f"{w} (due {str(d)[:10]})" for w, d in zip(near["work"], near["due_on"], strict=True))
        )
    return out


def _others(pumps: pd.DataFrame) -> pd.DataFrame:
    return pumps.assign(worth_on_cost=pumps["benefit"] >= 0, why="", next_step="").reindex(
        columns=OTHER_COLUMNS
    )


def _waiting(pumps: pd.DataFrame, confirmed: np.ndarray, settled: np.ndarray) -> pd.DataFrame:
    """Return pumps worth a change that lack the checks a booking needs, and the reverse."""
    risky = pumps["worth"].to_numpy(bool) & ~settled
    rows = _others(pumps[risky | confirmed])
    why = np.where(
        confirmed[risky | confirmed],
        "the finding is confirmed, but a change does not pay yet",
        "the risk alone would be worth a change, but the checks that a booking needs are not passed",
    )
    step = pumps.loc[rows.index, "action_text"].where(
        ~confirmed[risky | confirmed], "Capture again at the next stop; pin it to change it all the same."
    )
    return rows.assign(why=why, next_step=step).sort_values("risk", ascending=False, ignore_index=True)


def _unplaced(
    inputs: Inputs,
    solved: Assignment,
    candidates: pd.DataFrame,
    lead: pd.Series,
    free: dict[tuple[str, object], float],
    retiring: np.ndarray,
    horizon_days: int,
) -> pd.DataFrame:
    """Return pumps that should be changed and can't be fitted, with why."""
    pumps = inputs.pumps
    left = pumps["pump_id"].isin(solved.unplaced).to_numpy()
    rows = _others(pumps[left | retiring])
    why = []
    for i, row in pumps[left | retiring].iterrows():
        mine = candidates[candidates["pump_id"] == row["pump_id"]]
        if retiring[i]:
            why.append(f"the unit retires on {str(row['retires_on'])[:10]}")
        elif mine.empty:
            why.append(f"the unit has no stop within {horizon_days} days")
        elif mine["early"].all():
            days = lead.get(row["pump_type"], LEAD_DAYS)
            why.append(f"no part is on hand and one takes {days:.0f} days, longer than its last stop is off")
        elif not any(free.get((c.depot, c.week), np.inf) >= c.hours for c in each(mine)):
            why.append(f"depot {row['depot']} has no bay hours left in the weeks of its stops")
        else:
            why.append("bay hours or parts at its stops go to pumps that cost more to leave")
    step = pumps.loc[rows.index, "action_text"]
    return rows.assign(why=why, next_step=step).sort_values("risk", ascending=False, ignore_index=True)


def _expected_failures(inputs: Inputs, lead: pd.Series) -> pd.DataFrame:
    """Return expected failures in one lead time by depot and type."""
    pumps = inputs.pumps
    wait = pumps["pump_type"].map(lead).fillna(LEAD_DAYS)
    distance = (wait * pumps["pump_km_per_day"]).to_numpy(float)
    failing = curve_at(1 - inputs.forecast.survival, np.arange(len(pumps)), inputs.forecast.grid_km, distance)
    frame = pd.DataFrame(
        {
            "depot": pumps["depot"].fillna(""),
            "pump_type": pumps["pump_type"],
            "lead_time_days": wait,
            "f": failing,
        }
    )
    grouped = frame.groupby(["depot", "pump_type"], as_index=False)
    return grouped.agg(lead_time_days=("lead_time_days", "max"), expected_failures=("f", "sum"))


def _saving_range(lines: pd.DataFrame, inputs: Inputs) -> tuple[float, float, float]:
    """Return 10 %, 90 % and mean of the list's saving; which pumps fail by the next PM is chance."""
    if not len(lines):
        return 0.0, 0.0, 0.0
    expected = float(lines["expected_saving"].sum())
    p = lines["risk"].to_numpy(float)
    gap = (lines["failure"] - lines["planned"]).to_numpy(float)
    sd = float(np.sqrt((p * (1 - p) * gap**2).sum()))
    return expected - Z80 * sd, expected + Z80 * sd, expected


def _bay_use(free: dict, lines: pd.DataFrame) -> pd.DataFrame:
    used = lines.groupby(["depot", "week"])["hours"].sum() if len(lines) else pd.Series(dtype=float)
    booked = lines[lines["status"].isin(FIXED)] if len(lines) else lines
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


def _notes(inputs: Inputs, lines: pd.DataFrame, solved: Assignment) -> list[str]:
    notes = []
    unsure = {name for names in inputs.pumps["of_replacements"].unique() for name in names}
    if unsure:
        names = ", ".join(sorted(name.replace("_", " ") for name in unsure))
        notes.append(f"Costs and savings rest on placeholder prices that no one has confirmed: {names}.")
    if not len(inputs.stock):
        notes.append("No stock is on record, so every part is taken to be ordered.")
    if not len(inputs.bays):
        notes.append("No bay hours are on record, so every stop is taken to have room.")
    late = lines[pd.to_datetime(lines["planned_on"]) < pd.Timestamp(inputs.as_of)]
    if len(late):
        notes.append(
            f"{len(late)} booked day{'s are' if len(late) > 1 else ' is'} past: mark it done or move it."
        )
    if not solved.proven:
        notes.append(
            f"Time ran out: the assignment may cost up to {100 * solved.gap:.2f} % more than the best."
        )
    return notes
