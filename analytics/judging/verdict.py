"""What a reading means: the first trade rule whose facts hold, in a technician's words."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from datetime import date
from typing import Any

import duckdb
import numpy as np
import pandas as pd

from analytics.judging.action import decide_actions
from analytics.judging.facts import add_baseline, facts, number
from analytics.judging.rules import RULE_BY_ID, RULES, adds_nothing
from analytics.judging.type_level import with_type_level
from ingest.ledger.settings import settings_at
from ingest.reading import Reading
from ingest.trade_numbers import DEFAULTS

SPECIFICATION_COLUMNS = (
    "pump_type", "motor", "supply", "segments", "current_low_a", "current_high_a", "spec_at_v", "spec_at_kpa",
    "ripple_limit_pct", "rpm_low", "rpm_high", "rated_pressure_kpa", "filter",
)  # fmt: skip
DROPS = (
    ("supply", "drop_supply_v", "drop_supply_limit_v"),
    ("ground", "drop_ground_v", "drop_ground_limit_v"),
)
STATED_AT = (("spec_at_v", "V", "volts", "supply_v"), ("spec_at_kpa", "kPa", "pressure", "fuel_pressure_kpa"))
BASELINE_WORDS = {
    "new": "taken when it was new",
    "bedding-in": "taken while its brushes bedded in",
    "late": "taken late in its life, so perhaps no healthy one",
    "unknown": "taken at an age nobody knows, so perhaps no healthy one",
}


@dataclass(frozen=True)
class Verdict:
    """One visit judged. `rule` is the id of the rule cited; `also` the texts of other rules that hold.

    next_capture_km: the odometer at which the next capture is due at the latest, km.
    """

    rule: str
    text: str
    next_test: str
    action: str
    action_text: str
    compared_with: str
    also: tuple[str, ...] = field(default_factory=tuple)
    next_capture_on: date | None = None
    next_capture_km: float | None = None


def judge(visits: pd.DataFrame, settings: dict[str, Any] | None = None) -> pd.DataFrame:
    """Judge many visits at once.

    visits: rows of the view `visit_detail`: any pumps, all visits of each up to the day in question;
    with `type_a` and `type_pumps` (type_level.with_type_level) where pumps are to be held against their type.
    Returns the same rows with the facts, `rule` (id) and one bool column `rule:<id>` per rule that holds.
    """
    settings = settings or DEFAULTS
    prepared = add_baseline(visits, settings)
    known = facts(prepared, settings)
    holds = {
        rule.id: np.logical_and.reduce([known[f].to_numpy() for f in rule.when])
        if rule.when
        else np.ones(len(visits), bool)
        for rule in RULES
    }
    matrix = np.column_stack(list(holds.values())) if len(visits) else np.zeros((0, len(RULES)), bool)
    ids = np.array([rule.id for rule in RULES], dtype=object)
    columns = {f"rule:{name}": column for name, column in holds.items()}
    return pd.concat([prepared, known, pd.DataFrame(columns, index=visits.index)], axis=1).assign(
        rule=ids[matrix.argmax(axis=1)]
    )


def judge_visit(connection: duckdb.DuckDBPyConnection, visit_id: int) -> Verdict:
    """Judge one stored visit against its specification and its pump's history until then."""
    visits = connection.execute(
        "SELECT h.* FROM visit_detail h JOIN visit_detail v USING (pump_id)"
        " WHERE v.visit_id = ? AND (h.visited_on, h.visit_id) <= (v.visited_on, v.visit_id)"
        " ORDER BY h.visited_on, h.visit_id",
        [visit_id],
    ).df()
    services = connection.execute(
        "SELECT unit, done_on, work FROM service WHERE unit IN (SELECT unit FROM visit WHERE visit_id = ?)",
        [visit_id],
    ).df()
    settings = settings_at(connection)
    visits = with_type_level(connection, visits, visits["visited_on"].max())
    return _verdict(judge(visits, settings), services, settings)


def judge_reading(
    reading: Reading,
    *,
    specification: dict[str, Any] | None = None,
    context: dict[str, Any] | None = None,
    settings: dict[str, Any] | None = None,
) -> Verdict:
    """Judge a reading that is not stored.

    specification: pump_type columns (current_low_a, current_high_a, ...); context: visit columns known so far
    (supply_v, drop_supply_v, drop_ground_v, state, fuel_level_pct, ...).
    """
    row: dict[str, Any] = dict.fromkeys(SPECIFICATION_COLUMNS)
    row |= {k: v for k, v in asdict(reading).items() if not isinstance(v, tuple)}
    row |= {
        "visit_id": 0, "pump_id": 0, "unit": "", "position": "main",
        "visited_on": pd.Timestamp.today().normalize(),
        "reason": "pm", "state": None, "in_trend": True, "origin": "capture", "distance_on_pump_km": None,
        "filter_changed_on": None, "pm_interval_days": None,
    }  # fmt: skip
    row |= specification or {}
    row |= context or {}
    settings = settings or DEFAULTS
    return _verdict(judge(pd.DataFrame([row]), settings), None, settings)


def _verdict(judged: pd.DataFrame, services: pd.DataFrame | None, settings: dict[str, Any]) -> Verdict:
    last = judged.iloc[-1]
    decided = decide_actions(judged, services, settings).iloc[0]
    rule = RULE_BY_ID[last["rule"]]
    others = [
        _fill(r.text, last, settings)
        for r in RULES
        if r.when and last[f"rule:{r.id}"] and r is not rule and not adds_nothing(r, rule)
    ]
    text, next_test = _fill(rule.text, last, settings), rule.next_test
    if rule.books and rule.steps and rule.steps[0] not in decided["missing"].split():
        next_test = decided["action_text"]  # the first test is done: say what comes after it
    if rule.id == "healthy" and last.get("origin") == "meter":
        text = "Nothing out of the ordinary in the average; a meter tells nothing of ripple and speed."
    elif rule.id == "healthy" and pd.isna(last.get("rpm")) and last.get("motor") != "brushless":
        text = "Nothing out of the ordinary in what could be measured, but the trace doesn't tell the speed."
        next_test = "Change what the notes say (range, time base, length) and capture again."
    return Verdict(
        rule=rule.id,
        text=text,
        next_test=next_test,
        action=decided["action"],
        action_text=decided["action_text"],
        compared_with=_compared_with(judged, settings),
        also=tuple(others),
        next_capture_on=decided["next_capture_on"],
        next_capture_km=decided["next_capture_km"],
    )


def _fill(text: str, visit: pd.Series, settings: dict[str, Any]) -> str:
    def own(column: str) -> float:
        value = visit.get(column)
        return float(settings[column] if value is None or pd.isna(value) else value)

    return text.format(
        rpm_low=own("rpm_low"),
        rpm_high=own("rpm_high"),
        ripple_limit=own("ripple_limit_pct"),
        accuracy=float(visit["book_accuracy_a"]),
        type_a=float(visit.get("type_a", np.nan)),
        drops=" and ".join(
            f"{visit[column]:g} V on the {side} side (up to {settings[limit]:g} V is usual)"
            for side, column, limit in DROPS
            if visit.get(column) is not None and visit[column] > settings[limit]
        ),
    )


def _compared_with(judged: pd.DataFrame, settings: dict[str, Any]) -> str:
    """Say what the reading was held against, so that nobody takes a thin comparison for a firm one."""
    visit = judged.iloc[-1]
    against, lacking = [], []
    if pd.notna(visit.get("current_low_a")) and pd.notna(visit.get("current_high_a")):
        against.append(_specification(visit))
    else:
        lacking.append("no specification known")
    count = int(visit["baseline_count"])
    if count:
        kind = "unknown" if pd.isna(visit["distance_on_pump_km"]) else visit["baseline_kind"]
        against.append(
            f"its own baseline ({count} reading{'s' if count > 1 else ''}, {BASELINE_WORDS[kind]})"
        )
    elif judged["mean_a"].iloc[:-1].notna().any():
        lacking.append("none of its earlier readings is in the same engine state")
    else:
        lacking.append("no baseline of its own yet")
    if number(judged, "type_pumps")[-1] >= settings["type_pumps"]:
        against.append(f"{int(visit['type_pumps'])} pumps of its type (median {visit['type_a']:.2f} A)")
    if not against:
        against.append("general limits only")
    return f"Compared with {', '.join(against)}{'; ' if lacking else ''}{', '.join(lacking)}."


def _specification(visit: pd.Series) -> str:
    text = f"specification {visit['current_low_a']:g}–{visit['current_high_a']:g} A"
    stated = [
        (f"{visit[at]:g} {unit}", name, pd.notna(visit.get(recorded)))
        for at, unit, name, recorded in STATED_AT
        if pd.notna(visit.get(at))
    ]
    if stated:
        told = [name for _, name, recorded in stated if recorded]
        untold = [name for _, name, recorded in stated if not recorded]
        how = f"corrected for {' and '.join(told)}" if told else ""
        how += f"{', ' if told and untold else ''}{' and '.join(untold) + ' not recorded' if untold else ''}"
        text += f" at {' and '.join(at for at, _, _ in stated)} ({how})"
    return f"{text}, read to within ±{visit['book_accuracy_a']:.2f} A"
