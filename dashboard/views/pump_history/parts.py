"""The pump history page: which pump, the answer first, and the list of visits."""

from __future__ import annotations

from datetime import date
from typing import Any

import pandas as pd
import streamlit as st

from analytics.judging.finding import QUIET
from dashboard.charts.history import EVENT_WORDS
from dashboard.data import loaders
from dashboard.parts import asked_pump, photos, risk_list, settling
from dashboard.shell import access, frame, lists, say
from dashboard.words import formats
from dashboard.words.visit import REASONS, STATES
from dashboard.words.warranty import warranty_line


def choose_pump() -> int | None:
    """Return the pump asked for in the page's address, by its number or its unit, or chosen by unit."""
    asked_id, unknown = asked_pump.asked_for()
    if unknown:
        say.warn(f"The address asks for {unknown}, and no pump or unit of this ledger is called that.")
    current = loaders.ask("pump_head", pump_id=asked_id) if asked_id is not None else pd.DataFrame()
    names = loaders.unit_names()
    known = current.iloc[0]["unit"] if len(current) else None
    left, right = st.columns([1, 2])
    with left:
        if names is not None:
            unit = st.selectbox("Unit", names, index=names.index(known) if known in names else None,
                                placeholder="type the vehicle's number")  # fmt: skip
        else:
            unit = st.text_input("Unit", value=known or "", placeholder="type the vehicle's number").strip()
    if not unit:
        return None
    pumps = loaders.ask("pumps_of_unit", unit=unit)
    if not len(pumps):
        return None
    ids = pumps["pump_id"].tolist()
    labels = {row["pump_id"]: _life_label(row) for row in pumps.to_dict("records")}
    with right:
        chosen = st.selectbox(
            "Pump", ids, index=ids.index(asked_id) if asked_id in ids else 0, format_func=labels.__getitem__,
            key=f"pump_of_{unit}",
        )  # fmt: skip
    if st.query_params.get("pump") != str(chosen):
        st.query_params["pump"] = str(chosen)
    return int(chosen) if chosen is not None else None


def _life_label(row: dict[Any, Any]) -> str:
    place = "" if row["position"] == "main" else f"{row['position']}, "
    untold = formats.is_unknown(row["fitted_on"])
    start = "fitting unknown" if untold else formats.day(row["fitted_on"])
    if formats.is_unknown(row["removed_on"]):
        return f"{place}{row['pump_type']}, in service{',' if untold else ' since'} {start}"
    removal = "removed" if formats.is_unknown(row["removal"]) else plain(row["removal"])
    return f"{place}{row['pump_type']}, {start} to {formats.day(row['removed_on'])} ({removal})"


def plain(name: str) -> str:
    """Return a stored word as read: "on condition"."""
    return name.replace("_", " ")


def show_head(pump: pd.Series, ranked: pd.DataFrame) -> None:
    """Draw the answer first: action, risk, reason; then what the pump is."""
    own = loaders.settings()["distance_unit"]
    if len(ranked):
        row = ranked.iloc[0]
        with st.container(border=True):
            st.subheader(formats.action(row["action"]), anchor=False)
            finding = [row["finding_text"]] if row["finding"] not in QUIET else []
            say.line(*finding, row["reason"], *filter(None, [risk_list.due_words(row)]))
        frame.first_part_first()
        a, b, c, d = st.columns(4)
        a.metric("Risk before next stop", formats.percent(row["risk_to_next_stop"]),
                 formats.odds(row["risk_to_next_stop"]),
                 delta_color="off", delta_arrow="off")  # fmt: skip
        b.metric(f"{row['horizon_unit']} left, 9 in 10 sure", formats.about(row["distance_left_p10"]))
        c.metric(f"{row['horizon_unit']} left, even chance", formats.even_chance(row["distance_left_text"]))
        d.metric("Visits with a reading", f"{int(row['visits'])}")
    elif not formats.is_unknown(pump["removed_on"]):
        removal = formats.UNKNOWN if formats.is_unknown(pump["removal"]) else plain(pump["removal"])
        found = "not told" if formats.is_unknown(pump["found"]) else plain(pump["found"])
        say.line(f"This pump was removed on {formats.day(pump['removed_on'])} ({removal}; found: {found}).")
        last = loaders.last_verdict(int(pump["pump_id"]))
        if last is not None and last.rule not in QUIET:
            say.line(last.text, lead="Its last reading.")
    pump_id = int(pump["pump_id"])
    for sentence in loaders.holds(pump_id) if formats.is_unknown(pump["removed_on"]) else ():
        say.warn(sentence)
    facts = [
        f"unit {pump['unit']}",
        *(str(pump[c]) for c in ("make", "model", "class", "depot") if not formats.is_unknown(pump[c])),
        f"type {pump['pump_type']}",
    ]
    if not formats.is_unknown(pump["serial"]):
        facts.append(f"serial {pump['serial']}")
    facts.append(_fitted(pump, own))
    if not formats.is_unknown(pump["lot"]):
        facts.append(f"lot {pump['lot']}")
    warranty = warranty_line(loaders.warranty(pump_id), own, date.today())
    say.note(" · ".join(facts), *([warranty] if warranty else []))


def _fitted(pump: pd.Series, own: str) -> str:
    """Return when and at which odometer a pump was fitted, as far as that is known."""
    day, km = pump["fitted_on"], pump["fitted_odometer_km"]
    on = "" if formats.is_unknown(day) else f" {formats.day(day)}"
    at = "" if formats.is_unknown(km) else f" at {formats.distance(km, own)}"
    return f"fitted{on}{at}" if on or at else "fitting unknown"


def clamps_named(visits: pd.DataFrame) -> list[str]:
    """Return each visit's clamp, and that it was due for a check where it was."""
    due = loaders.ask("clamps").set_index("clamp")["due_on"]
    out = []
    for name, day in zip(visits["clamp"], visits["visited_on"], strict=True):
        late = name in due.index and pd.Timestamp(day) > pd.Timestamp(due[name])
        out.append("" if formats.is_unknown(name) else f"{name}, check overdue" if late else str(name))
    return out


def show_visits(pump: pd.Series, visits: pd.DataFrame) -> None:
    """Draw every visit with its note, and offer them as a file."""
    own = loaders.settings()["distance_unit"]
    events = loaders.ask("events_of_pump", pump_id=int(pump["pump_id"]))
    table = pd.DataFrame(
        {
            "Day": visits["visited_on"].map(formats.day),
            f"Odometer, {own}": formats.in_unit(visits["odometer_km"], own).round(0),
            "Reason": visits["reason"].map(lambda name: REASONS.get(name, name)),
            "Engine": visits["state"].map(lambda name: STATES.get(name, name)),
            "Current, A": visits["mean_a"].round(2),
            "Ripple, %": visits["ripple_pct"].round(1),
            "Speed, rpm": visits["rpm"].round(0),
            "Volts": visits["supply_v"],
            "Pressure, kPa": visits["fuel_pressure_kpa"],
            "Fuel, %": visits["fuel_level_pct"],
            "In trend": visits["in_trend"].map({True: "yes", False: "no, question open"}),
            "Clamp": clamps_named(visits),
            "Note": visits["note"],
            "By": visits["technician"],
        }
    )
    lists.show(table.iloc[::-1], "All visits of this pump, newest first.", f"visits_unit_{pump['unit']}")
    pictures = loaders.ask("photos_of_pump", pump_id=int(pump["pump_id"]))
    if len(pictures):
        st.subheader("Photos", anchor=False)
        photos.show(pictures)
    withdrawn = loaders.ask("withdrawn_visits", pump_id=int(pump["pump_id"]))
    if len(withdrawn):
        st.subheader("Withdrawn visits", anchor=False)
        say.note("Kept in the record, out of every figure.")
        lists.draw(settling.withdrawn_table(withdrawn, own), "Visits taken out of all figures, and why.")
    frame.show_kept()
    if len(visits) and access.may("correct"):
        settling.show_visit_repair(visits, own)
    if len(events):
        st.subheader("Work and events", anchor=False)
        lists.show(
            pd.DataFrame(
                {
                    "Day": events["happened_on"].map(formats.day),
                    "Event": events["event"].map(lambda name: EVENT_WORDS.get(name, name)),
                    f"Odometer, {own}": formats.in_unit(events["odometer_km"], own).round(0),
                    "Note": events["note"],
                }
            ),
            "Work done and events while this pump ran.",
            f"events_unit_{pump['unit']}",
        )
