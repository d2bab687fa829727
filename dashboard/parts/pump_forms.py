"""Events without a visit, on the fleet data page: a pump fitted, changed or moved, a new instrument cluster.

Odometers are given as the instrument shows them; what a unit had driven before a replaced cluster is added.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

import pandas as pd
import streamlit as st

from dashboard.data import changes, loaders
from dashboard.parts import replacing
from dashboard.shell import access, frame, initials, say
from dashboard.words import formats
from ingest.errors import EntryRefused

MAIN = "main"
CAME_OFF, WENT_IN = "Odometer it came off at", "Odometer it went in at"


def show(own: str) -> None:
    """Draw a form for each, once its heading is opened. own: the fleet's unit of distance."""
    for key, label, draw in (
        ("fit", "A pump was fitted or changed, without a visit", _fit),
        ("move", "A pump was moved to another unit", _move),
        ("cluster", "An instrument cluster was replaced", _cluster),
    ):
        box = st.expander(label, key=f"open_{key}", on_change="rerun")
        if box.open:
            with box:
                draw(own)


def _fit(own: str) -> None:
    unit, position = _place("Unit", "fit")
    if not unit:
        say.note("Give the unit first.")
        return
    pump = _in_service(unit, position)
    if pump is None:
        say.line(f"○ Unit {unit} has no pump in service in position {position} on record.")
    else:
        say.line(f"In service there: {_pump_words(pump)}. It comes off.")
        replacing.warranty_note(int(pump["pump_id"]))
    with st.form("fit_pump"):
        removed = replacing.removal_fields("fit_") if pump is not None else None
        new = replacing.new_pump_fields(None if pump is None else pump["pump_type"], "fit_")
        on, odometer = _day_and_odometer(own, "fit", may_be_unknown=pump is None)
        kept, share_pct = False, 100.0
        if pump is not None:
            kept = st.checkbox("The old filter stayed in", key="fit_filter_kept")
        else:
            share_pct = st.number_input("Share of the unit's distance it runs, %", 1.0, 100.0, 100.0, 5.0,
                                        key="fit_share")  # fmt: skip
        by = _initials("fit")

        def keep() -> str:
            from ingest.visit.pump_lives import NewPump, fit_pump, replace_pump

            author = access.author(by)
            changes.demand(new["pump_type"] or "", "the type fitted")
            ledger = loaders.ledger_path()
            signed: dict[str, Any] = {
                "position": position, "author": author,
                "odometer_km": changes.driven(ledger, unit, on, odometer, own, "Odometer"),
            }  # fmt: skip
            if removed is None:
                fit_pump(ledger, unit, NewPump(**new, run_share=share_pct / 100), on=on, **signed)
                return f"Type {new['pump_type']} is kept as fitted in unit {unit}."
            day = _day_given(on)
            replace_pump(
                ledger, unit, replacing.removal_of(removed), NewPump(**new), on=day, filter_kept=kept,
                **signed,
            )  # fmt: skip
            return (
                f"The pump of unit {unit} is kept as changed on {formats.day(day)}; later visits are the new "
                "one's. Its baseline is due: capture it at the first chance."
            )

        _submit("Keep this pump", keep)


def _move(own: str) -> None:
    with st.form("move_pump"):
        unit, position = _place("From unit", "move_from")
        to_unit, to_position = _place("To unit", "move_to")
        on = st.date_input("Day", "today", max_value=date.today(), format="YYYY-MM-DD", key="move_day")
        a, b = st.columns(2)
        odometer_from = a.text_input(CAME_OFF, placeholder=f"88412 {own}", key="move_km_from")
        odometer_to = b.text_input(WENT_IN, placeholder=f"41030 {own}", key="move_km_to")
        say.note("The distance it has run goes with it; its trend begins anew, since the wiring is another.")
        by = _initials("move")

        def keep() -> str:
            from ingest.visit.pump_lives import move_pump

            changes.demand(unit, "the unit it came from")
            changes.demand(to_unit, "the unit it went to")
            author = access.author(by)
            ledger, day = loaders.ledger_path(), _day_given(on)
            from_km, to_km = (
                changes.driven(ledger, of, day, text, own, label)
                for of, text, label in ((unit, odometer_from, CAME_OFF), (to_unit, odometer_to, WENT_IN))
            )
            move_pump(
                ledger, unit, to_unit, position=position, to_position=to_position, on=day,
                odometer_from_km=from_km, odometer_to_km=to_km, author=author,
            )  # fmt: skip
            return f"The pump of unit {unit} is kept as moved to unit {to_unit} on {formats.day(day)}."

        _submit("Keep this move", keep)


def _cluster(own: str) -> None:
    with st.form("replace_cluster"):
        unit = st.text_input("Unit", placeholder="type the vehicle's number", key="cluster_unit").strip()
        on = st.date_input("Day", "today", max_value=date.today(), format="YYYY-MM-DD", key="cluster_day")
        a, b = st.columns(2)
        old = a.text_input("The old one's last reading", placeholder=f"88412 {own}", key="cluster_old")
        new = b.text_input("The new one's first reading", placeholder=f"0 {own}", key="cluster_new")
        say.note(
            "Readings after that day count on from the old one's last; what was typed is kept beside them."
        )
        by = _initials("cluster")

        def keep() -> str:
            from ingest.units import parse_quantity
            from ingest.visit.instrument_cluster import replace_cluster

            for text, what in (
                (unit, "the unit"), (old, "the old one's last reading"), (new, "the new one's first reading"),
            ):  # fmt: skip
                changes.demand(text, what)
            author = access.author(by)
            old_km, new_km = (
                parse_quantity(text, "distance", default_unit=own, field=field)
                for text, field in ((old, "The old one's last reading"), (new, "The new one's first reading"))
            )
            day = _day_given(on)
            counted = replace_cluster(
                loaders.ledger_path(), unit, on=day, old_km=old_km, new_km=new_km, distance_unit=own,
                author=author,
            )  # fmt: skip
            later = (
                f"; {formats.count(counted, 'later entry', 'later entries')} counted on" if counted else ""
            )
            return f"The new instrument cluster of unit {unit} is kept from {formats.day(day)} on{later}."

        _submit("Keep this replacement", keep)


def _place(label: str, key: str) -> tuple[str, str]:
    """Ask for unit and position; returns both."""
    a, b = st.columns([2, 1])
    unit = a.text_input(label, placeholder="type the vehicle's number", key=f"{key}_unit")
    position = b.text_input("Which pump", placeholder=f"{MAIN}, unless it has several", key=f"{key}_position")
    return unit.strip(), position.strip() or MAIN


def _day_and_odometer(own: str, key: str, *, may_be_unknown: bool) -> tuple[date | None, str]:
    a, b = st.columns(2)
    on = a.date_input(
        "Day, blank if nobody knows" if may_be_unknown else "Day", None if may_be_unknown else "today",
        max_value=date.today(), format="YYYY-MM-DD", key=f"{key}_day",
    )  # fmt: skip
    odometer = b.text_input("Odometer", placeholder=f"88412 {own}", key=f"{key}_odometer")
    return on, odometer


def _day_given(on: date | None) -> date:
    if on is None:
        raise EntryRefused("missing", "Give the day first.")
    return on


def _initials(key: str) -> str:
    return initials.ask(f"{key}_by")


def _submit(label: str, keep: Callable[[], str]) -> None:
    if st.form_submit_button(label, type="primary", width="stretch"):
        frame.attempt(keep)


def _in_service(unit: str, position: str) -> pd.Series | None:
    lives = loaders.ask("pumps_of_unit", unit=unit)
    rows = lives[lives["removed_on"].isna() & (lives["position"] == position)]
    return rows.iloc[0] if len(rows) else None


def _pump_words(pump: pd.Series) -> str:
    serial = "" if formats.is_unknown(pump["serial"]) else f" no. {pump['serial']}"
    fitted = pump["fitted_on"]
    since = "on an unknown day" if formats.is_unknown(fitted) else f"on {formats.day(fitted)}"
    return f"type {pump['pump_type']}{serial}, fitted {since}"
