"""What a reading means: the first trade rule whose facts hold, in a technician's words."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field
from datetime import date
from typing import Any

import duckdb
import pandas as pd

from analytics.judging.action import decide_actions
from analytics.judging.evidence import incomparable
from analytics.judging.finding import last_readings
from analytics.judging.judge import LEAST_BASELINE, judge
from analytics.judging.rules import RULE_BY_ID, RULES, adds_nothing
from analytics.judging.type_level import with_type_level
from analytics.judging.wording import BESIDE, both, fill, nothing_odd
from analytics.statements import statement
from ingest.known_pump import TOLD
from ingest.ledger.settings import settings_at
from ingest.ledger.statements import statement as ingest_statement
from ingest.reading import Reading
from ingest.settings_in_force import Settings
from ingest.trade_numbers import DEFAULTS
from ingest.visit.entry import VisitEntry
from ingest.wording.language import phrase

NOT_STORED = 2**62  # a visit's number while it has none: after all others of its day
SPECIFICATION_COLUMNS = (
    "pump_type", "motor", "supply", "segments", "current_low_a", "current_high_a", "spec_at_v", "spec_at_kpa",
    "ripple_limit_pct", "rpm_low", "rpm_high", "rated_pressure_kpa", "min_delivery_l_min", "fuel", "filter",
)  # fmt: skip
STATED_AT = (("spec_at_v", "V", "volts", "supply_v"), ("spec_at_kpa", "kPa", "pressure", "fuel_pressure_kpa"))
BASELINE_WORDS = {
    "new": "taken when it was new",
    "bedding-in": "taken while its brushes bedded in",
    "late": "begun after its brushes had bedded in, so that wear before it doesn't show",
    "unknown": "taken at an age nobody knows, so perhaps no healthy one",
}


@dataclass(frozen=True)
class Verdict:
    """One visit judged. `rule` is the id of the rule cited, `values` what its text is made from besides the
    rule's words; `also` are the texts of other rules that hold, `also_rules` their ids.

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
    failed: bool = False
    not_working: bool = False
    values: dict[str, Any] = field(default_factory=dict, hash=False)
    also_rules: tuple[str, ...] = field(default_factory=tuple)


def judge_visit(connection: duckdb.DuckDBPyConnection, visit_id: int) -> Verdict:
    """Judge one stored visit against its specification and its pump's history until then."""
    [(pump_id, day)] = connection.execute(statement("pump_and_day_of_visit"), [visit_id]).fetchall()
    visits = connection.execute(statement("visits_up_to"), [pump_id, pump_id, day, visit_id]).df()
    services = services_of(connection, str(visits["unit"].iloc[-1]))
    services = services[pd.to_datetime(services["done_on"]) <= visits["visited_on"].max()]
    settings = settings_at(connection)
    visits = with_type_level(connection, visits, visits["visited_on"].max())
    return verdict_of(judge(visits, settings, services), services, settings)


def judge_entry(
    connection: duckdb.DuckDBPyConnection, pump_id: int, entry: VisitEntry, reading: Reading | None
) -> Verdict:
    """Judge a visit that is not stored yet as `judge_visit` will once it is.

    entry: with the day; reading: of its capture, None for a meter's average or a check.
    """
    known = connection.execute(ingest_statement("visit/type_and_unit"), [pump_id]).df()
    day = pd.Timestamp(entry.visited_on or date.today())
    visits = connection.execute(statement("visits_until"), [pump_id, pump_id, day.date()]).df()
    services = services_of(connection, entry.unit)
    done = pd.DataFrame([{"unit": entry.unit, "done_on": day, "work": work} for work in entry.done])
    services = pd.concat([services, done], ignore_index=True) if len(done) else services
    row: dict[Any, Any] = known.iloc[0].to_dict() | _row(reading, entry)
    row |= {"visited_on": day, "unit": entry.unit, "pump_id": pump_id}
    fitted = row["fitted_odometer_km"]
    if entry.odometer_km is not None and pd.notna(fitted):
        row["distance_on_pump_km"] = max(entry.odometer_km - fitted, 0.0) * row["run_share"]
    filters = pd.to_datetime(services.loc[services["work"] == "filter", "done_on"])
    row["filter_changed_on"] = filters.max() if len(filters) else None
    settings = settings_at(connection)
    frame = pd.concat([visits, pd.DataFrame([row]).dropna(axis=1, how="all")], ignore_index=True)
    frame = with_type_level(connection, frame, day.date())
    return verdict_of(judge(frame, settings, services), services, settings)


def judge_reading(
    reading: Reading,
    *,
    entry: VisitEntry | None = None,
    specification: dict[str, Any] | None = None,
    context: dict[str, Any] | None = None,
    settings: Settings | None = None,
) -> Verdict:
    """Judge a reading of a pump nothing is stored of.

    entry: what is entered of its visit so far. specification: pump_type columns (current_low_a,
    current_high_a, ...); context: visit columns known so far
    (supply_v, drop_supply_v, drop_ground_v, state, fuel_level_pct, ...).
    """
    row: dict[str, Any] = dict.fromkeys(SPECIFICATION_COLUMNS)
    row |= _row(reading, entry) | {
        "visited_on": pd.Timestamp.today().normalize(), "unit": "", "distance_on_pump_km": None,
        "filter_changed_on": None, "pm_interval_days": None,
    }  # fmt: skip
    row |= specification or {}
    row |= context or {}
    settings = settings or DEFAULTS
    return verdict_of(judge(pd.DataFrame([row]), settings), None, settings)


def _row(reading: Reading | None, entry: VisitEntry | None) -> dict[str, Any]:
    """A visit that is not stored, as a row of visit_detail."""
    row: dict[str, Any] = {"reason": "pm", "state": None}
    if entry is not None:
        said = {k: v for k, v in asdict(entry).items() if k not in ("done", "pump_type", "serial")}
        for name in TOLD:  # else as the type has it
            if said[name] is None:
                del said[name]
        row |= said | {"fuel_in_tank": said.pop("fuel")}
        row.pop("fuel", None)
    row |= {"visit_id": NOT_STORED, "position": "main", "in_trend": True, "origin": "capture"}
    if reading is None:
        meter_a = entry.meter_a if entry else None
        return row | {"mean_a": meter_a, "origin": "meter" if meter_a is not None else None}
    row |= {k: v for k, v in asdict(reading).items() if k not in ("notes", "speed_candidates", "segments")}
    return row | {"reading_notes": reading.notes, "pump_id": 0}


def services_of(connection: duckdb.DuckDBPyConnection, unit: str) -> pd.DataFrame:
    """Return the work done on a unit: unit, done_on, work."""
    return connection.execute(statement("services_of_unit"), [unit]).df()


def verdict_of(judged: pd.DataFrame, services: pd.DataFrame | None, settings: Settings) -> Verdict:
    """Return the verdict on the last of one pump's judged visits."""
    found = decide_actions(judged, services, settings).iloc[0]
    last = last_readings(judged, services, settings).iloc[0]
    rule = RULE_BY_ID[last["rule"]]
    values = json.loads(found["finding_values"])
    cited = [rule, *(RULE_BY_ID[beside["rule"]] for beside in values.get(BESIDE, ()))]
    others = [
        r
        for r in RULES
        if r.when
        and r.fault
        and last[f"rule:{r.id}"]
        and r not in cited
        and not (r.id == "complaint-open" and rule.fault)  # it says that no cause was seen: one was
        and not any(adds_nothing(r, one) for one in cited)
        # Low volts, which it names first, take current away.
        and not (r.id == "speed-down" and last["current_rose"])
    ]
    # Of rules that show one and the same fault the first says it best.
    first = {r.family or r.id: r for r in reversed(others)}
    also = {r.id: fill(r.text, last.to_dict(), settings) for r in others if first[r.family or r.id] is r}
    text = found["finding_text"]
    if rule.id == "healthy":
        text = nothing_odd(last.get("origin"), last.get("motor"), pd.notna(last.get("rpm"))) or text
    newest = judged.sort_values(["visited_on", "visit_id"], kind="stable").iloc[[-1]]
    if rule.steps and incomparable(newest)[0]:
        stands = "Found on {day}; the newest reading has none alike to be held against and clears nothing."
        text = f"{text} {phrase(stands, day=str(last['visited_on'])[:10])}"
    return Verdict(
        rule=found["finding"],
        text=text,
        next_test=found["next_test"],
        action=found["finding_action"],
        action_text=found["action_text"],
        compared_with=compared_with(judged, last, settings),
        also=tuple(dict.fromkeys(also.values())),
        next_capture_on=found["next_capture_on"],
        next_capture_km=found["next_capture_km"],
        failed=bool(found["failed"]),
        not_working=bool(found["not_working"]),
        values=values,
        also_rules=tuple(also),
    )


def compared_with(judged: pd.DataFrame, visit: pd.Series, settings: Settings) -> str:
    """Say what the reading was held against and what not, so that nobody takes a thin comparison for a firm
    one."""
    against, lacking = [], []
    low, high = visit.get("current_low_a"), visit.get("current_high_a")
    if pd.isna(low) and pd.isna(high):
        lacking.append(phrase("no specification known"))
    elif visit["reduced_command"]:
        lacking.append(phrase("not with its specification, which holds at full command only"))
    else:
        against.append(_specification(visit))
    count = int(visit["baseline_count"])
    if count >= LEAST_BASELINE:
        kind = "unknown" if pd.isna(visit["distance_on_pump_km"]) else visit["baseline_kind"]
        told = {"count": count, "kind": phrase(BASELINE_WORDS[kind])}
        against.append(phrase("its own baseline ({count} readings, {kind})", **told))
    elif count:
        lacking.append(phrase("one good reading of its own so far, two make a baseline"))
    elif judged["mean_a"].iloc[:-1].notna().any():
        lacking.append(
            phrase("none of its earlier readings is good and alike in engine state, command, fuel and method")
        )
    else:
        lacking.append(phrase("no baseline of its own yet"))
    if (visit.get("type_pumps") or 0) >= settings["type_pumps"]:
        told = {"count": int(visit["type_pumps"]), "median": f"{visit['type_a']:.2f}"}
        against.append(phrase("{count} pumps of its type (median {median} A)", **told))
    if not against:
        against.append(phrase("general limits only"))
    said = phrase("Compared with {against}", against=", ".join(against))
    return f"{said}{'; ' if lacking else ''}{', '.join(lacking)}."


def _specification(visit: pd.Series) -> str:
    low, high = visit.get("current_low_a"), visit.get("current_high_a")
    if pd.isna(high):
        text = phrase("specification from {low} A", low=f"{low:g}")
    elif pd.isna(low):
        text = phrase("specification up to {high} A", high=f"{high:g}")
    else:
        text = phrase("specification {low}–{high} A", low=f"{low:g}", high=f"{high:g}")
    stated = [
        (f"{visit[at]:g} {unit}", phrase(name), pd.notna(visit.get(recorded)))
        for at, unit, name, recorded in STATED_AT
        if pd.notna(visit.get(at))
    ]
    if stated:
        told = [name for _, name, recorded in stated if recorded]
        untold = [name for _, name, recorded in stated if not recorded]
        how = [phrase("corrected for {names}", names=both(told))] if told else []
        how += [phrase("{names} not recorded", names=both(untold))] if untold else []
        text += phrase(" at {at} ({how})", at=both([at for at, _, _ in stated]), how=", ".join(how))
    if pd.isna(visit["book_accuracy_a"]):  # no average was read
        return text
    return text + phrase(", read to within ±{accuracy} A", accuracy=f"{visit['book_accuracy_a']:.2f}")
