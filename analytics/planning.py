"""The replacement plan: which pump at which planned stop, within bay hours, parts and lead times.

Only a pump whose action is "book replacement" is planned (or one that a person booked), and only where it is
worth it on cost or its class's risk ceiling calls for it. Booking pump i at a stop after distance d costs

    K(d) = Cf·F(d) + Cp·(1 − F(d)) − g·∫₀^d S,

the chance of failing first, the change itself, and the distance still got out of the old pump at the fleet's
long-run cost g. The assignment (assignment.py) makes the sum least; what waiting costs is K at a later stop less
K at the first. Expected saving is against leaving the pump to fail: Cf − g·∫₀^∞ S − K(d).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from analytics.assignment import Assignment, assign
from analytics.parts import DEFAULT_LEAD_DAYS, order_by, parts_table
from analytics.plan_changes import changes_since
from analytics.plan_inputs import Inputs, read_inputs
from analytics.visits_ahead import monday, planned_visits
from ingest.errors import EntryRefused

Z80 = 1.2815515655  # normal quantile at 90 %
FAILED_OUTRIGHT = "no-current-proven-supply"
FIXED = ("booked", "pinned")
KEEP_DAY_BONUS = 5.0  # money: a proposal keeps its day unless another is better by more
LINE_COLUMNS = [
    "pump_id", "unit", "position", "pump_type", "depot", "class", "planned_on", "week", "due_by", "status",
    "because", "action", "risk", "risk_until_then", "cost_of_waiting", "expected_saving", "hours", "order_by",
    "part", "planned", "failure", "placeholder", "reason", "cautions", "due_work", "also_at_this_stop",
    "worth_on_cost", "decided_by", "decision_reason", "vin", "make", "model", "year",
]  # fmt: skip
OTHER_COLUMNS = ["pump_id", "unit", "position", "pump_type", "depot", "class", "risk", "action", "worth_on_cost",
                 "because", "benefit", "why", "next_step", "reason"]  # fmt: skip


@dataclass(frozen=True)
class Plan:
    """One replacement plan; every frame has one row per pump unless said otherwise.

    lines: booked, pinned and proposed work, by day. unplaced: should be changed, can't be fitted, with why.
    waiting: risky or confirmed, but not to be changed yet, with the next step. rejected: taken off by a person.
    bays: depot, week, free_hours, used_hours. parts: see parts.parts_table. changes: unit, position, what,
    before, after, why since the last list. saving_low/high: 10–90 % range of `expected_saving` as failures fall.
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

    horizon_days: how far ahead work is booked (default setting plan_horizon_days, 120). service_level: for stock.
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
    retiring = _retires_soon(pumps, inputs) & ~outright & (pumps["because"] != "risk ceiling").to_numpy()
    chosen = ordered & (pumps["worth"].to_numpy(bool) | outright)
    placed = chosen & ~retiring

    stops = _stops(inputs, horizon_days)
    lead = _lead_days(inputs)
    candidates = _candidates(inputs, stops, np.flatnonzero(placed), outright, lead, horizon_days)
    fixed_lines = _fixed(inputs, stops, np.flatnonzero(fixed), decided)
    free = _free_hours(inputs, stops, fixed_lines, horizon_days)
    on_hand = _on_hand(inputs, fixed_lines, lead)
    leaving = _leaving(pumps, candidates, np.flatnonzero(placed))
    share = float(inputs.settings["plan_shared_share"])
    solved = assign(candidates, leaving, free, on_hand, share)

    new_lines = candidates.loc[solved.chosen.to_numpy()].assign(status="proposed")
    lines = pd.concat([fixed_lines, new_lines], ignore_index=True) if len(fixed_lines) else new_lines
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


def waiting_curve(inputs: Inputs, rows: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return K (n, m) on the forecast's grid for some pumps, and the chance of failing first (n, m)."""
    grid, survival = inputs.forecast.grid_km, inputs.forecast.survival[rows]
    steps = np.diff(grid) * (survival[:, 1:] + survival[:, :-1]) / 2
    lived = np.concatenate([np.zeros((len(rows), 1)), np.cumsum(steps, axis=1)], axis=1)
    pumps = inputs.pumps.iloc[rows]
    planned, failure, per_km = (
        pumps[name].to_numpy(float)[:, None] for name in ("planned", "failure", "cost_per_km")
    )
    return failure * (1 - survival) + planned * survival - per_km * lived, 1 - survival


def _decided(pumps: pd.DataFrame, decided: pd.DataFrame, column: str) -> pd.Series:
    if decided.empty:
        return pd.Series([None] * len(pumps), index=pumps.index, dtype=object)
    return pumps["pump_id"].map(decided[column])


def _retires_soon(pumps: pd.DataFrame, inputs: Inputs) -> np.ndarray:
    limit = pd.Timestamp(inputs.as_of) + pd.Timedelta(days=int(inputs.settings["plan_retirement_days"]))
    return (pd.to_datetime(pumps["retires_on"]) <= limit).to_numpy()


def _stops(inputs: Inputs, horizon_days: int) -> pd.DataFrame:
    per_day = inputs.pumps.groupby("unit")["km_per_day"].max()
    vehicles = inputs.vehicles[inputs.vehicles["unit"].isin(per_day.index)]
    vehicles = vehicles.assign(km_per_day=vehicles["unit"].map(per_day))
    stops = planned_visits(vehicles, inputs.as_of, horizon_days, inputs.settings)
    return stops.assign(extra_cost=0.0, extra=False)


def _lead_days(inputs: Inputs) -> pd.Series:
    return inputs.types.set_index("pump_type")["lead_time_days"].fillna(DEFAULT_LEAD_DAYS).astype(float)


def _candidates(
    inputs: Inputs,
    stops: pd.DataFrame,
    rows: np.ndarray,
    outright: np.ndarray,
    lead: pd.Series,
    horizon_days: int,
) -> pd.DataFrame:
    """Return every (pump, stop) on offer with its cost; urgent pumps may also get a stop of their own."""
    pumps = inputs.pumps.iloc[rows].assign(row=rows)
    urgent = outright[rows] | (pumps["because"] == "risk ceiling").to_numpy()
    offered = pumps[["row", "pump_id", "unit"]].merge(stops, on="unit")
    weeks = [inputs.as_of + timedelta(days=1 + 7 * i) for i in range(max(horizon_days // 7, 1))]
    days = np.busday_offset(np.array(weeks, "datetime64[D]"), 0, roll="forward")
    labour = float(inputs.settings["plan_extra_stop_hours"])
    own = pumps[["row", "pump_id", "unit", "labour_per_hour"]][urgent].merge(
        pd.DataFrame(
            {"planned_on": days, "stop": 0, "due_by": "a stop of its own", "overdue": False, "extra": True}
        ),
        how="cross",
    )
    own["extra_cost"] = own.pop("labour_per_hour") * labour
    offered = pd.concat([offered, own], ignore_index=True) if len(own) else offered
    offered["planned_on"] = pd.to_datetime(offered["planned_on"])
    return _costed(offered, inputs, lead, outright)


def _costed(offered: pd.DataFrame, inputs: Inputs, lead: pd.Series, outright: np.ndarray) -> pd.DataFrame:
    row = offered["row"].to_numpy(int)
    pumps = inputs.pumps.iloc[row].reset_index(drop=True)
    today = pd.Timestamp(inputs.as_of)
    ahead = np.maximum((offered["planned_on"] - today).dt.days.to_numpy(float), 0.0)
    distance = ahead * pumps["pump_km_per_day"].to_numpy(float)
    grid = inputs.forecast.grid_km
    kept, where = np.unique(row, return_inverse=True)
    cost, failing = waiting_curve(inputs, kept) if len(kept) else (np.zeros((0, len(grid))),) * 2
    offered["K"] = _at(cost, where, grid, distance)
    offered["risk_until_then"] = _at(failing, where, grid, distance)
    offered["to_failure"] = cost[where, -1] if len(kept) else []
    ceiling = pumps["ceiling"].to_numpy(float)
    # Over its ceiling a pump goes first: each point of risk weighs ten failures more.
    weight = np.where(outright[row] | (pumps["because"] == "risk ceiling").to_numpy(), 10.0, 0.0)
    weight = np.where(np.isnan(ceiling) & ~outright[row], 0.0, weight)
    late = ahead / 365 * outright[row] * pumps["failure"].to_numpy(float) * 10
    offered["cost"] = (
        offered["K"] + offered["extra_cost"] + late
        + weight * pumps["failure"].to_numpy(float) * offered["risk_until_then"]
    )  # fmt: skip
    if inputs.previous is not None and len(offered):
        before = pd.to_datetime(offered["pump_id"].map(inputs.previous.set_index("pump_id")["planned_on"]))
        offered["cost"] -= np.where(before == offered["planned_on"], KEEP_DAY_BONUS, 0.0)
    hours = pumps["job_hours"].astype(float).fillna(float(_default_hours(inputs)))
    offered["hours"] = hours.to_numpy()
    offered["shared_cost"] = (
        float(inputs.settings["plan_shared_share"]) * hours * pumps["labour_per_hour"].astype(float)
    ).to_numpy()
    offered["depot"] = pumps["depot"].fillna("").to_numpy()
    offered["pump_type"] = pumps["pump_type"].to_numpy()
    offered["week"] = [monday(d.date()) for d in offered["planned_on"]]
    offered["stop"] = offered["unit"].astype(str) + " " + offered["planned_on"].dt.strftime("%Y-%m-%d")
    wait = offered["pump_type"].map(lead).fillna(DEFAULT_LEAD_DAYS).to_numpy(float)
    offered["early"] = ahead < wait
    return offered.drop_duplicates(["pump_id", "stop"]).reset_index(drop=True)


def _at(curves: np.ndarray, where: np.ndarray, grid: np.ndarray, distance: np.ndarray) -> np.ndarray:
    """Return curve `where` at `distance` by straight lines between grid points."""
    if not len(distance):
        return np.zeros(0)
    after = np.clip(np.searchsorted(grid, distance, side="right"), 1, len(grid) - 1)
    part = np.clip((distance - grid[after - 1]) / (grid[after] - grid[after - 1]), 0, 1)
    return curves[where, after - 1] * (1 - part) + curves[where, after] * part


def _default_hours(inputs: Inputs) -> float:
    amount, _, _ = inputs.book.amount("planned_labour_hours")
    return 2.5 if amount is None else amount


def _fixed(inputs: Inputs, stops: pd.DataFrame, rows: np.ndarray, decided: pd.DataFrame) -> pd.DataFrame:
    """Return what a person has booked or pinned, on its own day."""
    if not len(rows):
        return pd.DataFrame()
    pumps = inputs.pumps.iloc[rows]
    mine = pd.DataFrame(
        {"row": rows, "pump_id": pumps["pump_id"].to_numpy(), "unit": pumps["unit"].to_numpy()}
    )
    days = pd.to_datetime(mine["pump_id"].map(decided["planned_on"]))
    first = pd.to_datetime(mine["unit"].map(stops[stops["stop"] == 1].set_index("unit")["planned_on"]))
    mine = mine.assign(
        planned_on=days.fillna(first).fillna(pd.Timestamp(inputs.as_of)), extra_cost=0.0, extra=False,
        due_by="a person's day", overdue=False, stop=0,
    )  # fmt: skip
    none = np.zeros(len(inputs.pumps), bool)
    return _costed(mine, inputs, _lead_days(inputs), none).assign(
        status=mine["pump_id"].map(decided["status"]).to_numpy()
    )


def _free_hours(inputs: Inputs, stops: pd.DataFrame, fixed: pd.DataFrame, horizon_days: int) -> dict:
    """Return hours left by (depot, week): bay hours less booked work and the units' other due work."""
    last = max([inputs.as_of + timedelta(days=horizon_days), *pd.to_datetime(stops["planned_on"]).dt.date])
    weeks = pd.date_range(monday(inputs.as_of), monday(last), freq="7D")
    free: dict[tuple[str, object], float] = {}
    bays = inputs.bays.assign(depot=inputs.bays["depot"].fillna(""))
    for row in bays[bays["week_of"].isna()].itertuples():
        free |= {(row.depot, week.date()): float(row.hours) for week in weeks}
    for row in bays[bays["week_of"].notna()].itertuples():
        free[(row.depot, monday(pd.Timestamp(row.week_of).date()))] = float(row.hours)
    depot = inputs.vehicles.set_index("unit")["depot"]
    due = inputs.due_work.dropna(subset=["hours"])
    used = [(depot.get(r.unit, ""), monday(pd.Timestamp(r.due_on).date()), r.hours) for r in due.itertuples()]
    if len(fixed):
        used += list(zip(fixed["depot"], fixed["week"], fixed["hours"], strict=True))
    for place, week, hours in used:
        if (place, week) in free:
            free[(place, week)] -= float(hours)
    return free


def _on_hand(inputs: Inputs, fixed: pd.DataFrame, lead: pd.Series) -> dict[tuple[str, str], int]:
    have = {(r.depot, r.pump_type): int(r.on_hand) for r in inputs.stock.itertuples()}
    if len(fixed):
        for key in zip(fixed["depot"][fixed["early"]], fixed["pump_type"][fixed["early"]], strict=True):
            have[key] = max(have.get(key, 0) - 1, 0)
    return have


def _leaving(pumps: pd.DataFrame, candidates: pd.DataFrame, rows: np.ndarray) -> pd.Series:
    """Return the cost of not placing each pump: dearer than any stop, by its price of failing and its risk."""
    worst = candidates.groupby("pump_id")["cost"].max() if len(candidates) else pd.Series(dtype=float)
    mine = pumps.iloc[rows].set_index("pump_id")
    return (
        worst.reindex(mine.index).fillna(0.0) + mine["failure"] * (1 + mine["risk"]) + mine["benefit"].abs()
    )


def _dressed(lines, inputs: Inputs, lead, decided, share, outright) -> pd.DataFrame:
    from ingest.safety import FIRST

    if not len(lines):
        return pd.DataFrame(columns=LINE_COLUMNS)
    pumps = inputs.pumps.iloc[lines["row"].to_numpy(int)].reset_index(drop=True)
    lines = lines.reset_index(drop=True)
    names = ["position", "class", "action", "risk", "planned", "failure", "placeholder", "reason", "vin", "make",
             "model", "year"]  # fmt: skip
    lines = lines.assign(**{name: pumps[name] for name in names})
    lines["because"] = np.where(outright[lines["row"]], "failed outright", pumps["because"])
    lines["because"] = lines["because"].where(lines["status"] == "proposed", "a person's booking")
    lines["worth_on_cost"] = pumps["benefit"] >= 0
    first = lines["pump_id"].map(_first_cost(inputs, lines))
    lines["cost_of_waiting"] = (lines["K"] - first).clip(lower=0)
    lines["expected_saving"] = lines["to_failure"] - lines["K"]
    lines["planned_on"] = lines["planned_on"].dt.date
    lines = lines.sort_values(["planned_on", "depot", "unit", "position"], ignore_index=True)
    wait = lines["pump_type"].map(lead).fillna(DEFAULT_LEAD_DAYS)
    stock = {(r.depot, r.pump_type): int(r.on_hand) for r in inputs.stock.itertuples()}
    part, by = [], []
    for row, days in zip(lines.itertuples(), wait, strict=True):
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
    for row in lines.itertuples():
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
    """Return pumps worth a change on cost or over a ceiling without the checks a booking needs, and the reverse."""
    risky = pumps["worth"].to_numpy(bool) & ~settled
    rows = _others(pumps[risky | confirmed])
    why = np.where(
        confirmed[risky | confirmed],
        "the finding is confirmed, but a change does not pay yet",
        "the risk alone would be worth a change, but the checks that a booking needs are not passed",
    )
    step = pumps.loc[rows.index, "action_text"]
    return rows.assign(why=why, next_step=step).sort_values("risk", ascending=False, ignore_index=True)


def _unplaced(inputs, solved: Assignment, candidates, lead, free, retiring, horizon_days) -> pd.DataFrame:
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
            days = lead.get(row["pump_type"], DEFAULT_LEAD_DAYS)
            why.append(f"no part is on hand and one takes {days:.0f} days, longer than its last stop is off")
        elif not any(free.get((d, w), np.inf) >= h for d, w, h in zip(mine["depot"], mine["week"], mine["hours"], strict=True)):  # fmt: skip
            why.append(f"depot {row['depot']} has no bay hours left in the weeks of its stops")
        else:
            why.append("bay hours or parts at its stops go to pumps that cost more to leave")
    step = pumps.loc[rows.index, "action_text"]
    return rows.assign(why=why, next_step=step).sort_values("risk", ascending=False, ignore_index=True)


def _expected_failures(inputs: Inputs, lead: pd.Series) -> pd.DataFrame:
    """Return expected failures in one lead time by depot and type."""
    pumps = inputs.pumps
    wait = pumps["pump_type"].map(lead).fillna(DEFAULT_LEAD_DAYS)
    distance = (wait * pumps["pump_km_per_day"]).to_numpy(float)
    failing = _at(1 - inputs.forecast.survival, np.arange(len(pumps)), inputs.forecast.grid_km, distance)
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
    """Return 10 %, 90 % and mean of the list's saving: which pumps would have failed within a PM interval is chance."""
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
    if bool(inputs.pumps["placeholder"].any()):
        notes.append(
            "Some prices are placeholders that no one has confirmed: costs and savings rest on them."
        )
    if not len(inputs.stock):
        notes.append("No stock is on record, so every part is taken to be ordered.")
    if not len(inputs.bays):
        notes.append("No bay hours are on record, so every stop is taken to have room.")
    late = lines[pd.to_datetime(lines["planned_on"]) < pd.Timestamp(inputs.as_of)]
    if len(late):
        notes.append(
            f"{len(late)} booked day{'s are' if len(late) > 1 else ' is'} past; mark the work done or move it."
        )
    if not solved.proven:
        notes.append(f"Time ran out: the assignment may cost up to {solved.gap:.2%} more than the best.")
    return notes


def records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Return rows as plain values: dates as text, unknown as None."""
    out = []
    for row in frame.to_dict("records"):
        out.append({str(k): _plain(v) for k, v in row.items()})
    return out


def _plain(value: Any) -> Any:
    if value is None or (not isinstance(value, str) and pd.isna(value)):
        return None
    if isinstance(value, date):
        return value.isoformat()[:10]
    value = value.item() if hasattr(value, "item") else value
    return round(value, 6) if isinstance(value, float) else value
