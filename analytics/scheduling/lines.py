"""A plan's lines as people read them: the job and its steps, part, hours, money, who decided."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from analytics.learning.failure import FLEET_FAILURES
from analytics.money.decision import CAUSE_FOUND, NO_FUEL, NOW, TIMES, curve_at, lived_km, on_the_day
from analytics.past.frames import each
from analytics.past.normal import Z_80
from analytics.risk.parts_ahead import lead_of
from analytics.scheduling.inputs import Inputs
from analytics.scheduling.parts import order_by
from analytics.scheduling.steps import bring, steps
from analytics.wording import whole_percent

LINE_COLUMNS = [
    "pump_id", "job_number", "unit", "position", "pump_type", "depot", "class", "planned_on", "week",
    "due_by", "job", "asked_first", "own_stop", "p_change", "steps", "bring", "status", "because",
    "action", "risk", "risk_to_next_stop", "risk_until_then", "cost_of_waiting",
    "expected_saving", "saving_against_later", "saving_sd", "saving_by_level", "hours", "order_by",
    "part", "planned", "failure", "placeholder", "reason", "cautions",
    "due_work", "also_at_this_stop", "worth_on_cost", "decided_by", "decision_reason", "vin", "make",
    "model", "year", "odometer_km", "clamp_point", "last_reading",
]  # fmt: skip


def outcome(row: Any) -> str:
    """Return with what chance a line's job ends in a change, in words; nothing for one that is a change, or
    for a pump that may take no current (no reading tells it), or where what was found is mended."""
    if row.job == "change" or row.because in (NO_FUEL, CAUSE_FOUND):
        return ""
    [share] = on_the_day(np.array([row.p_change]), np.array([row.risk_until_then]))
    return f"{whole_percent(100 * share)} % end in a change"


def dressed(
    lines: pd.DataFrame, inputs: Inputs, lead: pd.Series, decided: pd.DataFrame, share: float
) -> pd.DataFrame:
    """Return chosen candidates and booked work with everything a reader wants, by day."""
    from analytics.judging.safety import FIRST

    if not len(lines):
        return pd.DataFrame(columns=LINE_COLUMNS)
    lines = lines.reset_index(drop=True)
    pumps = inputs.pumps.iloc[lines["row"].to_numpy(int)].reset_index(drop=True)
    names = [
        "position", "class", "action", "risk", "risk_to_next_stop", "planned", "failure", "placeholder",
        "reason", "vin", "make", "model", "year", "p_beside", "finding_action", "finding",
        "action_text", "step_text", "cause_found",
    ]  # fmt: skip
    lines = lines.assign(**{name: pumps[name] for name in names})
    # At a later stop all is looked at anew.
    lines["made"] = pumps["made"].where(pumps["at"] == TIMES[NOW], 0)
    lines["job_number"] = [f"P{i}" for i in lines["pump_id"]]
    lines["because"] = pumps["because"].where(lines["status"] == "proposed", "a person's booking")
    lines["worth_on_cost"] = pumps["benefit"] >= 0
    whole = 1 - lines["risk_until_then"]
    own = (pumps["option"] == lines["option"]).to_numpy()
    # The chance that its check ends in a change was told for its own time; the time moves the risk before it.
    ends = np.where(own, on_the_day(pumps["p_change"], pumps["risk_then"]), 1.0)
    lines["p_change"] = np.clip(ends * whole, 0.0, 1.0)
    lines["cost_of_waiting"] = (lines["K"] - lines["at_once"]).clip(lower=0)
    nothing = np.where(lines["job"] == "check", pumps["cost_of_nothing"], pumps["left_to_fail"])
    savings = {
        "expected_saving": nothing - lines["K"],
        "saving_against_later": pumps["cost_of_nothing"] - lines["K"],
        "saving_sd": _saving_sd(lines, pumps, inputs),
        "saving_by_level": _saving_by_level(lines, pumps, inputs),
    }
    # One that has failed is changed anyway: no choice saves anything.
    runs = (pumps["status"] != "failed").to_numpy()
    lines = lines.assign(**{name: np.where(runs, value, 0.0) for name, value in savings.items()})
    lines["planned_on"] = pd.to_datetime(lines["planned_on"]).dt.date
    lines["filter"] = lines["pump_type"].map(inputs.types.set_index("pump_type")["filter"])
    lines["steps"] = [steps(row) for row in each(lines)]
    lines["bring"] = [bring(row) for row in each(lines)]
    lines = lines.sort_values(["planned_on", "depot", "unit", "position"], ignore_index=True)
    part, by = _parts(lines, inputs, lead)
    lines = lines.assign(part=part, order_by=pd.Series(by, dtype=object))
    same = lines.groupby(["unit", "planned_on"])["pump_id"].transform("size")
    lines["also_at_this_stop"] = same - 1
    rank_at_stop = lines.groupby(["unit", "planned_on"]).cumcount()
    lines["hours"] = lines["hours"] * np.where(rank_at_stop > 0, 1 - share, 1.0)
    lines["due_work"] = _due_with(lines, inputs)
    lines = _with_last_reading(lines, inputs)
    lines["cautions"] = FIRST
    for name, column in (("decided_by", "decided_by"), ("decision_reason", "reason")):
        lines[name] = lines["pump_id"].map(decided[column]) if column in decided else None
    return lines


def _with_last_reading(lines: pd.DataFrame, inputs: Inputs) -> pd.DataFrame:
    """Add clamp_point and words on the pump's newest reading, and where the odometer should stand that
    day.
    """
    seen = inputs.last_readings.set_index("pump_id").reindex(lines["pump_id"]).reset_index(drop=True)
    since = (pd.to_datetime(lines["planned_on"]) - pd.to_datetime(seen["visited_on"])).dt.days
    per_day = inputs.pumps.set_index("pump_id")["km_per_day"].reindex(lines["pump_id"]).to_numpy(float)
    words = []
    for row in each(seen):
        told = [
            f"{value:,.{digits}f} {unit}"
            for value, digits, unit in (
                (row.mean_a, 2, "A"),
                (row.ripple_pct, 1, "% ripple"),
                (row.rpm, 0, "rpm"),
            )
            if value is not None and value == value
        ]
        words.append(f"Last reading {str(row.visited_on)[:10]}: {', '.join(told)}" if told else "")
    return lines.assign(
        odometer_km=seen["odometer_km"].to_numpy(float) + since.to_numpy(float) * per_day,
        clamp_point=seen["clamp_point"].to_numpy(object), last_reading=words,
    )  # fmt: skip


def _parts(lines: pd.DataFrame, inputs: Inputs, lead: pd.Series) -> tuple[list[str], list[object]]:
    wait = lead_of(lines["pump_type"], lead)
    stock = {(r.depot, r.pump_type): int(r.on_hand) for r in each(inputs.stock)}
    part: list[str] = []
    by: list[object] = []
    for row, days in zip(each(lines), wait, strict=True):
        if row.job == "check":
            part.append("none")
            by.append(None)
            continue
        left = stock.get((row.depot, row.pump_type), 0)
        stock[(row.depot, row.pump_type)] = left - 1
        day = order_by(row.planned_on, days)
        part.append("on hand" if left > 0 else f"order by {day}")
        by.append(None if left > 0 else day)
    return part, by


def saving_range(lines: pd.DataFrame) -> tuple[float, float, float]:
    """Return 10 %, 90 % and mean of the list's saving.

    How far each pump would have run is chance, of each by itself; how often such pumps fail is the same
    error in all of them (`_saving_by_level`).
    """
    if not len(lines):
        return 0.0, 0.0, 0.0
    expected = float(lines["expected_saving"].sum())
    own, level = (lines[name].to_numpy(float) for name in ("saving_sd", "saving_by_level"))
    sd = float(np.sqrt((own**2).sum() + level.sum() ** 2))
    return expected - Z_80 * sd, expected + Z_80 * sd, expected


def _saving_sd(lines: pd.DataFrame, pumps: pd.DataFrame, inputs: Inputs) -> np.ndarray:
    """Return the spread of each line's saving: it is Cf − g·L − W, L being the distance left beyond the stop,
    where the pump lives to see the stop, and nothing where it doesn't."""
    grid = inputs.forecast.grid_km
    kept, where = np.unique(lines["row"].to_numpy(int), return_inverse=True)
    survival = inputs.forecast.survival[kept]
    first = lived_km(grid, survival)
    second = lived_km(grid**2, survival)  # E[L²] = ∫ S d(x²)
    ahead = (pd.to_datetime(lines["planned_on"]) - pd.Timestamp(inputs.as_of)).dt.days.to_numpy(float)
    at = np.maximum(ahead, 0) * pumps["pump_km_per_day"].to_numpy(float)
    there = np.maximum(1 - lines["risk_until_then"].to_numpy(float), 1e-6)
    gone, gone2 = curve_at(first[where], grid, at), curve_at(second[where], grid, at)
    mean = (first[where, -1] - gone) / there
    square = np.maximum((second[where, -1] - gone2) / there - 2 * at * mean, 0.0)
    g = pumps["value_per_km"].to_numpy(float)
    gain = pumps["fail_cost"].to_numpy(float) - lines["there"].to_numpy(float) - g * mean
    variance = g**2 * np.maximum(square - mean**2, 0.0)
    return np.sqrt(there * (variance + gain**2) - (there * gain) ** 2)


def _saving_by_level(lines: pd.DataFrame, pumps: pd.DataFrame, inputs: Inputs) -> np.ndarray:
    """Return what each line saves more, in money, where such pumps fail oftener than told by one standard
    error of the fleet's level, g standing.

    A level learned from k failures with a gamma prior worth FLEET_FAILURES is known to 1/√(k +
    FLEET_FAILURES) of itself. With S to the power 1 plus and less that, half the difference of
    S(d)·(Cf − W) − g·∫ S beyond the stop at d. A booking's prices hold like a proposal's.
    """
    unsure = (FLEET_FAILURES + (inputs.failures or 0)) ** -0.5
    grid, row = inputs.forecast.grid_km, lines["row"].to_numpy(int)
    ahead = (pd.to_datetime(lines["planned_on"]) - pd.Timestamp(inputs.as_of)).dt.days.to_numpy(float)
    at = np.maximum(ahead, 0) * pumps["pump_km_per_day"].to_numpy(float)
    spared = pumps["fail_cost"].to_numpy(float) - lines["there"].to_numpy(float)

    def saves(power: float) -> np.ndarray:
        survival = inputs.forecast.survival[row] ** power
        lived = lived_km(grid, survival)
        beyond = lived[:, -1] - curve_at(lived, grid, at)
        saved = curve_at(survival, grid, at) * spared - pumps["value_per_km"].to_numpy(float) * beyond
        return np.asarray(saved)

    return (saves(1 + unsure) - saves(1 - unsure)) / 2


def _due_with(lines: pd.DataFrame, inputs: Inputs) -> list[str]:
    """Return the unit's other work due by its stop, as text."""
    by_unit: dict[str, list[tuple[pd.Timestamp, str]]] = {}
    for due in each(inputs.due_work.assign(day=pd.to_datetime(inputs.due_work["due_on"]))):
        by_unit.setdefault(due.unit, []).append((due.day, f"{due.work} (due {str(due.due_on)[:10]})"))
    soon = pd.to_datetime(lines["planned_on"]) + pd.Timedelta(days=30)
    return [
        "; ".join(said for day, said in by_unit.get(unit, ()) if day <= until)
        for unit, until in zip(lines["unit"], soon, strict=True)
    ]
