"""One visit on paper: what was measured and how, its trace, the verdict, and a pump changed at the stop."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd

from dashboard.parts import reading_panel, replacing
from dashboard.parts.photos import on_paper
from dashboard.parts.trace_picture import trace_picture
from dashboard.shell.paper import facts_table, sheet
from dashboard.words import formats
from dashboard.words.visit import REASONS, STATES, SUPPLY_AT
from ingest.capture import Capture
from ingest.settings_in_force import Settings
from ingest.wording.language import phrase

if TYPE_CHECKING:
    from analytics.judging.verdict import Verdict
    from analytics.scheduling.in_the_bay import BayDecision

ZEROED = ("yes", "no")


def visit_sheet(
    visit: pd.Series,
    before: pd.DataFrame,
    verdict: Verdict,
    settings: Settings,
    decision: BayDecision | None = None,
    *,
    lives: pd.DataFrame | None = None,
    vehicle: pd.DataFrame | None = None,
    capture: Capture | None = None,
    photos: pd.DataFrame | None = None,
) -> str:
    """Return one visit as a sheet: facts, trace, figures beside specification and earlier visits, verdict.

    visit: a row of visits_of_pump, before: those before it. decision: what pays while the vehicle still
    stands there, None where not told. lives: pumps_of_unit; vehicle: unit_card; capture: its stored record;
    photos: photos_of_visit.
    """
    own = settings["distance_unit"]
    facts = {
        phrase("Unit"): visit["unit"],
        phrase("VIN"): _first(vehicle, "vin"),
        phrase("Position"): visit["position"],
        phrase("Day"): formats.day(visit["visited_on"]),
        phrase("Odometer"): formats.distance(visit["odometer_km"], own),
        phrase("Pump type"): visit["pump_type"],
        phrase("Pump's serial number"): _known(visit["serial"]),
        phrase("Engine"): phrase(STATES.get(visit["state"], "")),
        phrase("Reason"): phrase(REASONS.get(visit["reason"], visit["reason"])),
        phrase("Volts"): _with(formats.with_error(visit["supply_v"], None, "V"),
                       phrase(SUPPLY_AT.get(visit["supply_v_at"], "at the pump"))),
        phrase("Drop, supply side"): formats.with_error(visit["drop_supply_v"], None, "V"),
        phrase("Drop, ground side"): formats.with_error(visit["drop_ground_v"], None, "V"),
        phrase("Fuel pressure"): formats.pressure(visit["fuel_pressure_kpa"], own),
        phrase("Delivery"): formats.with_error(visit["delivery_l_min"], None, "L/min"),
        phrase("Fuel level"): formats.with_error(visit["fuel_level_pct"], None, "%", 0),
        phrase("Clamp or meter"): _known(visit["clamp"]),
        phrase("Clamp zeroed before"): _yes_no(visit["zero_checked"]),
        phrase("Clamped at"): _known(visit["clamp_point"]),
        phrase("Pump changed at this stop"): _change(visit, lives),
        phrase("Note"): _known(visit["note"]),
        phrase("Technician"): _known(visit["technician"]),
    }  # fmt: skip
    limit = visit["ripple_limit_pct"]
    limit = settings["ripple_limit_pct"] if formats.is_unknown(limit) else limit
    figures = reading_panel.comparison(visit, visit.to_dict(), before, float(limit))
    bay, steps = ({}, ()) if decision is None else ({phrase("In the bay"): decision.text}, decision.steps)
    return sheet(
        phrase("Visit {visit}, unit {unit}", visit=visit["visit_id"], unit=visit["unit"]),
        [(phrase("The visit"), facts_table(facts)), (phrase("Figures"), figures)],
        {
            phrase("Verdict"): verdict.text,
            phrase("Next test"): verdict.next_test,
            phrase("Action"): verdict.action_text,
        }
        | bay,
        [*verdict.also, *(phrase(step) for step in steps)],
        pictures=[*trace_picture(visit, capture), *([] if photos is None else on_paper(photos))],
    )


def _change(visit: pd.Series, lives: pd.DataFrame | None) -> str | None:
    """Return which pump came off at this stop and which went in, None where none did."""
    if lives is None or not len(lives):
        return None
    here = lives[lives["position"] == visit["position"]]
    off = here[pd.to_datetime(here["removed_on"]) == pd.Timestamp(visit["visited_on"])]
    if not len(off):
        return None
    old = off.iloc[0]
    said = [phrase("off: {pump}", pump=_pump(old))]
    if not formats.is_unknown(old["removal"]):
        said.append(phrase(replacing.REMOVALS.get(old["removal"], old["removal"])).lower())
    if not formats.is_unknown(old["found"]):
        what = phrase(replacing.FOUND.get(old["found"], old["found"])).lower()
        said.append(phrase("found {what}", what=what))
    new = here[pd.to_datetime(here["fitted_on"]) == pd.Timestamp(visit["visited_on"])]
    text = ", ".join(said)
    return phrase("{off}; on: {pump}", off=text, pump=_pump(new.iloc[0])) if len(new) else text


def _pump(life: pd.Series) -> str:
    serial = _known(life["serial"])
    return f"{life['pump_type']}{phrase(', serial {serial}', serial=serial) if serial else ''}"


def _first(rows: pd.DataFrame | None, column: str) -> Any:
    return None if rows is None or not len(rows) else _known(rows.iloc[0][column])


def _known(value: Any) -> Any:
    return None if formats.is_unknown(value) else value


def _yes_no(told: Any) -> str | None:
    return phrase(told) if told in ZEROED else None


def _with(figure: str, words: str) -> str:
    return figure if figure == formats.UNKNOWN else f"{figure} {words}"
