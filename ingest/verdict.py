"""What a reading means: the first trade rule whose facts hold, in a technician's words."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from datetime import date
from typing import Any

import duckdb
import numpy as np
import pandas as pd

from ingest.action import decide_actions
from ingest.facts import add_baseline, facts
from ingest.reading import Reading
from ingest.rules import RULE_BY_ID, RULES
from ingest.settings import DEFAULTS, settings_at

SPECIFICATION_COLUMNS = (
    "pump_type", "motor", "supply", "segments", "current_low_a", "current_high_a", "spec_at_v", "spec_at_kpa",
    "ripple_limit_pct", "rpm_low", "rpm_high", "rated_pressure_kpa", "filter",
)  # fmt: skip


@dataclass(frozen=True)
class Verdict:
    """One visit judged. `rule` is the id of the rule cited; `also` the texts of other rules that hold."""

    rule: str
    text: str
    next_test: str
    action: str
    action_text: str
    compared_with: str
    also: tuple[str, ...] = field(default_factory=tuple)
    next_capture_on: date | None = None


def judge(visits: pd.DataFrame, settings: dict[str, Any] | None = None) -> pd.DataFrame:
    """Judge many visits at once.

    visits: rows of the view `visit_detail`: any pumps, all visits of each up to the day in question.
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
    return _verdict(judge(visits, settings), services, settings, _type_level(connection, visits.iloc[-1]))


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
    return _verdict(judge(pd.DataFrame([row]), settings), None, settings, None)


def _type_level(connection: duckdb.DuckDBPyConnection, visit: pd.Series) -> tuple[float, int] | None:
    """Return the median average current of other pumps of the type in the same state, and how many."""
    row = connection.execute(
        "SELECT median(mean_a), count(DISTINCT pump_id) FROM visit_detail"
        " WHERE pump_type = ? AND pump_id <> ? AND state IS NOT DISTINCT FROM ? AND mean_a IS NOT NULL",
        [visit["pump_type"], int(visit["pump_id"]), None if pd.isna(visit["state"]) else visit["state"]],
    ).fetchall()[0]
    return row if row[1] else None


def _verdict(
    judged: pd.DataFrame,
    services: pd.DataFrame | None,
    settings: dict[str, Any],
    type_level: tuple[float, int] | None,
) -> Verdict:
    last = judged.iloc[-1]
    decided = decide_actions(judged, services, settings).iloc[0]
    rule = RULE_BY_ID[last["rule"]]
    others = [
        _fill(r.text, last, settings)
        for r in RULES
        if r.when and r.id not in (rule.id, "average-very-low") and last[f"rule:{r.id}"]
    ]
    text = _fill(rule.text, last, settings)
    untold = last.get("origin") == "capture" and pd.isna(last.get("rpm")) and last.get("motor") != "brushless"
    if rule.id == "healthy" and untold:
        text += " The speed can't be told from this trace; the notes say what would help."
    return Verdict(
        rule=rule.id,
        text=text,
        next_test=rule.next_test,
        action=decided["action"],
        action_text=decided["action_text"],
        compared_with=_compared_with(last, type_level),
        also=tuple(others),
        next_capture_on=decided["next_capture_on"],
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
        limits_drop=f"supply {settings['drop_supply_limit_v']:g} V, "
        f"ground {settings['drop_ground_limit_v']:g} V",
    )


def _compared_with(visit: pd.Series, type_level: tuple[float, int] | None) -> str:
    """Say what the reading was held against, so that nobody takes a thin comparison for a firm one."""
    parts = []
    if pd.notna(visit.get("current_low_a")) and pd.notna(visit.get("current_high_a")):
        band = f"specification {visit['current_low_a']:g}–{visit['current_high_a']:g} A"
        volts_known = pd.notna(visit.get("spec_at_v")) and pd.notna(visit.get("supply_v"))
        parts.append(
            f"{band} at {visit['spec_at_v']:g} V (corrected)"
            if volts_known
            else f"{band} (not corrected for volts)"
        )
        parts[-1] += f", read to within ±{visit['book_accuracy_a']:.2f} A"
    else:
        parts.append("no specification known")
    count = int(visit["baseline_count"])
    parts.append(
        f"own {visit['baseline_kind']} baseline of {count} reading{'s' if count > 1 else ''}"
        if count
        else "no own baseline yet"
    )
    if type_level:
        parts.append(f"{type_level[1]} other pumps of the type (median {type_level[0]:.2f} A)")
    return "Compared with " + ", ".join(parts) + "."
