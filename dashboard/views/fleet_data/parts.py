"""The lists of the fleet data page: units, work done, changes; each narrowed, ordered, paged and saved."""

from __future__ import annotations

from typing import Any

import pandas as pd
import streamlit as st

from dashboard.data import changes, loaders
from dashboard.parts import fact_forms, pump_forms
from dashboard.shell import access, address, frame, initials, lists, say
from dashboard.words import formats, visit
from dashboard.words.plain import plain

ORDERS = ("number", "longest unseen", "most driven", "oldest")
WORK = visit.WORK | {"breakdown": "Breakdown"}
BLAME = {"yes": "Yes, the pump", "no": "No, something else", "unknown": "Not known"}


def has_data() -> bool:
    """Return whether the ledger exists and holds a vehicle."""
    return loaders.ledger_path().exists() and bool(loaders.ask("fleet_counts").iloc[0]["vehicles"])


def show_units() -> None:
    """Draw the units, narrowed and ordered, and a form to change one."""
    own = loaders.settings()["distance_unit"]
    left, *places, right = lists.choices_row("units", [1.6, 1, 1, 1, 1])
    chosen = lists.narrowing(key="units", places=places)
    find = left.text_input("Find", placeholder="unit, VIN, make or model", **address.bound("find_unit"))
    order = right.selectbox("In order of", ORDERS, **address.bound("units_order", "order", ORDERS))
    rows = lists.paged(
        "units_list", "units", ("unit", "units"), lambda found: unit_table(found, own),
        "Units with depot, vehicle and last odometer.",
        find=find.strip(), order=order, **lists.asked(chosen),
    )  # fmt: skip
    if access.may("facts"):
        units = rows["unit"].tolist()
        frame.show_fold("Change a unit, or add one", "change_unit", lambda: _ask_unit(own, units))


def unit_table(rows: pd.DataFrame, own: str) -> pd.DataFrame:
    """Return the rows of units_list.sql as shown."""
    return pd.DataFrame(
        {
            "Unit": rows["unit"],
            "Depot": rows["depot"],
            "Class": rows["class"],
            "Year": rows["year"],
            "Make": rows["make"],
            "Model": rows["model"],
            "Engine": rows["engine"],
            f"Odometer, {own}": formats.in_unit(rows["last_odometer_km"], own).round(0),
            "Last visit": rows["last_visited_on"].map(formats.day),
            f"Interval, {own}": formats.in_unit(rows["pm_interval_km"], own).round(0),
            "Interval, days": rows["pm_interval_days"],
            "Job, hours": rows["job_hours"],
            "Retires on": rows["retires_on"].map(formats.day),
            "VIN": rows["vin"],
        }
    )


def _ask_unit(own: str, listed: list[str]) -> None:
    from ingest.fleet_folder.one_fact import add_facts, change_facts, read_facts
    from ingest.fleet_folder.tables import VEHICLES

    unit = st.selectbox("Unit to change or add", listed, index=None, key="unit_to_change",
                        accept_new_options=True, placeholder="type the vehicle's number")  # fmt: skip
    if not unit:
        return
    unit = str(unit).strip()
    known = loaders.ask("vehicle", unit=unit)
    row = known.iloc[0].to_dict() if len(known) else None
    say.note("On record; change what is wrong." if row else "Not on record: it will be added.")
    with st.form(f"unit_{unit}"):
        typed = fact_forms.fields(
            VEHICLES, row, key=f"unit_{unit}", own=own, leave_out=("unit",),
            suggest={field: loaders.values_of(field) for field in ("class", "depot")},
        )  # fmt: skip
        reason, by = fact_forms.signature(f"unit_{unit}")
        if st.form_submit_button("Keep this unit", type="primary", width="stretch"):

            def keep() -> None:
                values = read_facts(VEHICLES, typed, own)
                ledger = loaders.ledger_path()
                signed: dict[str, Any] = {
                    "author": access.author(by),
                    "reason": reason,
                    "command": changes.COMMAND,
                }
                if row:
                    change_facts(ledger, VEHICLES, unit, values, **signed)
                else:
                    add_facts(ledger, VEHICLES, {"unit": unit} | values, **signed)

            frame.attempt(keep, f"Unit {unit} is kept as shown.")


def show_work() -> None:
    """Draw work done and breakdowns, newest first, and take new entries."""
    own = loaders.settings()["distance_unit"]
    left, *places, right = lists.choices_row("work", [1, 1, 1, 1, 1.6])
    chosen = lists.narrowing(key="work", places=places)
    find = left.text_input("Unit", placeholder="all units", **address.bound("find_work"))
    kinds = right.multiselect("Kind", list(WORK), placeholder="all", format_func=WORK.__getitem__,
                              **address.bound("work_kind", "kind", WORK.values()))  # fmt: skip
    currency = loaders.settings()["currency"]
    lists.paged(
        "work_list", "work", ("entry", "entries"), lambda found: work_table(found, own, currency),
        "Work done and breakdowns.", find=find.strip(), kinds=tuple(kinds), **lists.asked(chosen),
    )  # fmt: skip
    if access.may("work"):
        _add_work(own, currency)
        pump_forms.show(own)


def work_table(rows: pd.DataFrame, own: str, currency: str) -> pd.DataFrame:
    """Return the rows of work_list.sql as shown."""
    money = {f"Cost, {currency}": rows["cost"].round(0)} if access.may("money") else {}
    return pd.DataFrame(
        {
            "Day": rows["happened_on"].map(formats.day),
            "Unit": rows["unit"],
            "Depot": rows["depot"],
            "What": rows["kind"].map(lambda kind: WORK.get(kind, kind)),
            f"Odometer, {own}": formats.in_unit(rows["odometer_km"], own).round(0),
            **money,
            "Note": rows["note"].fillna(""),
        }
    )


def _add_work(own: str, currency: str) -> None:
    with st.expander("Enter work done, or a breakdown"):
        kind = st.selectbox("What", list(WORK), format_func=WORK.__getitem__, key="new_work")
        with st.form("work"):
            a, b, c = st.columns(3)
            unit = a.text_input("Unit", placeholder="type the vehicle's number", key="new_work_unit")
            day = b.date_input("Day", "today", format="YYYY-MM-DD", key="new_work_day")
            odometer = c.text_input("Odometer", placeholder=f"88412 {own}", key="new_work_odometer")
            blame, cost = "unknown", None
            if kind == "breakdown":
                a, b = st.columns(2)
                blame = a.selectbox("Was the pump to blame?", list(BLAME), index=2,
                                    format_func=BLAME.__getitem__, key="new_work_blame")  # fmt: skip
                cost = b.number_input(
                    plain(f"Cost of it all, {currency}"), 0.0, None, None, 50.0, key="new_work_cost"
                )
            note = st.text_input("Note", key="new_work_note")
            by = initials.ask("new_work_by")
            if st.form_submit_button("Keep this entry", type="primary", width="stretch"):
                frame.attempt(
                    lambda: _keep_work(kind, unit, day, odometer, blame, cost, note, by, own),
                    f"{WORK[kind]} of unit {unit.strip()} on {formats.day(day)} is kept.",
                )


def _keep_work(
    kind: str, unit: str, day: Any, odometer: str, blame: str, cost: Any, note: str, by: str, own: str
) -> None:
    from ingest.visit.pump_lives import record_breakdown, record_service

    changes.demand(unit, "the unit")
    more: dict[str, Any] = {
        "on": day, "note": note.strip() or None, "author": access.author(by),
        "odometer_km": changes.driven(loaders.ledger_path(), unit, day, odometer, own, "Odometer"),
    }  # fmt: skip
    if kind == "breakdown":
        record_breakdown(loaders.ledger_path(), unit.strip(), pump_confirmed=blame, cost=cost, **more)
    else:
        record_service(loaders.ledger_path(), unit.strip(), kind, **more)


def show_changes() -> None:
    """Draw changes, newest first: who, what, from what, to what, why."""
    find = st.text_input("Find", placeholder="who, which unit or type, why",
                         **address.bound("find_change"))  # fmt: skip
    lists.paged(
        "changes_list", "changes", ("change", "changes"), change_table, "Changes with who made them and why.",
        find=find.strip(),
    )  # fmt: skip


def change_table(rows: pd.DataFrame) -> pd.DataFrame:
    """Return the rows of changes_list.sql as shown."""
    return pd.DataFrame(
        {
            "When, UTC": pd.to_datetime(rows["changed_at"]).dt.strftime("%Y-%m-%d %H:%M"),
            "By": rows["changed_by"].fillna(rows["command"]),
            "Table": rows["table_name"].str.replace("_", " "),
            "Row": rows["row_key"],
            "Field": rows["field"].fillna("added"),
            "Before": rows["old_value"],
            "After": rows["new_value"],
            "Why": rows["reason"].fillna(""),
        }
    )
