"""From what was typed on the page, or given to the command, to a visit entry: units parsed, blanks left out;
and gentle reminders.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from datetime import date
from typing import Any

from dashboard.words.formats import is_unknown
from dashboard.words.visit import WORK_OF_CAUSE
from ingest.errors import EntryRefused
from ingest.known_pump import TOLD
from ingest.settings_in_force import Settings
from ingest.units import Kind, parse_quantity, read_quantity
from ingest.visit.entry import VisitEntry
from ingest.vocabulary import PARTS
from ingest.wording.language import phrase

# field of the page -> (kind, unit of a bare number, column of the entry)
QUANTITIES: dict[str, tuple[Kind, str | None, str]] = {
    "supply_v": ("voltage", "V", "supply_v"),
    "drop_supply_v": ("voltage", "V", "drop_supply_v"),
    "drop_ground_v": ("voltage", "V", "drop_ground_v"),
    "fuel_pressure": ("pressure", None, "fuel_pressure_kpa"),
    "fuel_temp": ("temperature", None, "fuel_temp_c"),
    "delivery": ("flow", None, "delivery_l_min"),
    "meter_a": ("current", "A", "meter_a"),
    "pressure_hold": ("pressure", None, "pressure_hold_kpa"),
}
# Fields kept as they are.
PLAIN = (
    "position", "serial", "pump_type", *TOLD, "state", "fuel", "commanded", "supply_v_at", "delivery_at",
    *PARTS, "check_result", "closes", "channel", "clamp", "clamp_point", "technician", "note",
)  # fmt: skip
LABELS = {
    "supply_v": "Volts at the pump, running",
    "drop_supply_v": "Drop on the supply side, V",
    "drop_ground_v": "Drop on the ground side, V",
    "fuel_pressure": "Fuel pressure",
    "fuel_temp": "Fuel temperature",
    "fuel_level_pct": "Fuel level, %",
    "delivery": "Delivery",
    "meter_a": "Average on the meter, A",
    "pressure_hold": "Pressure held after stopping",
    "odometer": "Odometer",
    "unit": "Unit",
}
MOST_QUESTIONS = 3  # a visit, reminders and questions together; the rest goes to the open questions


def label(field: str) -> str:
    """Return what a field is called on the page."""
    return LABELS[field]


def label_here(field: str) -> str:
    """Return what a field is called on a page in the language it is drawn in."""
    return phrase(LABELS[field])


def entry_from(
    typed: Mapping[str, Any], *, distance_unit: str | None, called: Callable[[str], str] = label
) -> VisitEntry:
    """Return the visit entry meant by what was typed on the page or given to the command, without blanks.

    distance_unit: of a bare number, None where it must carry its own. called: what a field is called there.
    Raises EntryRefused naming the field that can't be taken.
    """
    values: dict[str, Any] = {name: typed.get(name) or None for name in PLAIN}
    zeroed = typed.get("zero_checked")  # a tick on the page, a word from the command
    values["zero_checked"] = "yes" if zeroed is True else zeroed or None
    values["probe"] = probe_from(typed)
    work, checked = _check(typed)
    values |= {name: value for name, value in checked.items() if values.get(name) is None}
    unit = str(typed.get("unit") or "").strip()
    if not unit:
        raise EntryRefused("unit-missing", f"{called('unit')}: give the vehicle's number first.")
    if typed.get("odometer"):
        read = read_quantity(
            str(typed["odometer"]), "distance", default_unit=distance_unit, field=called("odometer")
        )
        values |= {"odometer_km": read.value, "odometer_entered": read.entered, "odometer_unit": read.unit}
    for name, (kind, default_unit, column) in QUANTITIES.items():
        text = str(typed.get(name) or "").strip()
        if text:
            values[column] = parse_quantity(text, kind, default_unit=default_unit, field=called(name))
    for name in ("fuel_level_pct", "hours", "duty_pct"):
        if typed.get(name) is not None:
            values[name] = float(typed[name])
    visited_on = typed.get("visited_on")
    return VisitEntry(
        unit=unit,
        reason=typed.get("reason") or "pm",
        visited_on=visited_on if isinstance(visited_on, date) else None,
        done=tuple(dict.fromkeys([*(typed.get("done") or ()), *work])),
        **values,
    )


def probe_from(typed: Mapping[str, Any]) -> str | None:
    """Return the clamp's factor chosen or typed; None: as the file says."""
    chosen = str(typed.get("probe") or "")
    if chosen == "another":
        return str(typed.get("probe_text") or "").strip() or None
    return chosen if chosen.endswith("/A") else None


def _check(typed: Mapping[str, Any]) -> tuple[list[str], dict[str, Any]]:
    """Return the work a check did and the entries it makes.

    Not finished: what was not examined was not reached, and the note says why.
    """
    outcome = typed.get("check_outcome")
    if outcome == "no_other_cause":
        return [], {"check_result": "no_other_cause"}
    cause = typed.get("check_cause")
    if outcome == "mended" and cause:
        return [WORK_OF_CAUSE[cause]] if cause in WORK_OF_CAUSE else [], {"check_result": cause}
    if outcome == "unfinished":
        why = str(typed.get("check_why") or "").strip()
        if not why:
            raise EntryRefused("check-why", "The check: say why it could not be finished.")
        return [], dict.fromkeys(PARTS, "not_reached") | {"note": f"Check not finished: {why}"}
    return [], {}


def reminders(
    entry: VisitEntry, room: int = MOST_QUESTIONS, *, asked: Collection[str] = ("supply_v", "fuel_pressure")
) -> list[str]:
    """Return at most `room` sentences on what would make the reading worth more; none is demanded.

    asked: of volts and pressure, what the next test is answered by.
    """
    asks = []
    if entry.odometer_km is None and entry.hours is None:
        asks.append(phrase("Without an odometer this reading can't be placed in the pump's trend."))
    if entry.state is None:
        asks.append(
            phrase("Say whether the engine primed, idled or was loaded: only like readings are compared.")
        )
    if entry.supply_v is None and "supply_v" in asked:
        asks.append(phrase("Volts at the pump are missing: a low supply looks like a weak pump."))
    if entry.fuel_pressure_kpa is None and "fuel_pressure" in asked:
        asks.append(phrase("With the fuel pressure, a restriction can be told from drag."))
    return asks[: max(room, 0)]


def baseline_words(pump: Mapping[str, Any], odometer_km: float | None, settings: Settings) -> str:
    """Return what today's capture is to this pump's baseline: due, going on, or too late; "" once it stands.

    pump: a row of unit_card (visits, fitted_odometer_km, last_odometer_km).
    """
    wanted, visits = int(settings["baseline_visits"]), int(pump["visits"])
    if visits >= wanted:
        return ""
    if visits:
        has = "This pump's baseline has {visits} of {wanted} readings; today's is the next."
        return phrase(has, visits=visits, wanted=wanted)
    at_km = odometer_km if odometer_km is not None else pump.get("last_odometer_km")
    fitted_km = pump.get("fitted_odometer_km")
    if is_unknown(at_km) or is_unknown(fitted_km):
        return phrase("This pump has no reading yet: today's capture begins its baseline.")
    run_km = max(float(at_km) - float(fitted_km), 0.0)  # type: ignore[arg-type]
    if run_km <= settings["baseline_new_km"]:
        return phrase("This pump is new and its baseline is due: today's capture begins it.")
    if run_km <= settings["baseline_bedding_km"]:
        return phrase(
            "This pump's baseline is due; its brushes may still be bedding in, which is noted with it."
        )
    return phrase(
        "This pump has no reading yet and has run far: today's capture begins its trend, but is no baseline "
        "of a healthy pump."
    )
