"""The parts of the fleet data page."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd
import streamlit as st

from dashboard import changes, formats, frame, loaders
from ingest.errors import PumpledgerError
from ingest.settings import DEFAULTS, set_setting

ROWS_A_PAGE = 50
TYPE_COLUMNS = {
    "pump_type": "Type",
    "in_service": "In service",
    "lives": "Lives",
    "motor": "Motor",
    "supply": "Supply",
    "fuel": "Fuel",
    "segments": "Segments",
    "current_low_a": "Low, A",
    "current_high_a": "High, A",
    "spec_at_v": "at V",
    "spec_at_kpa": "at kPa",
    "ripple_limit_pct": "Ripple limit, %",
    "rpm_low": "rpm low",
    "rpm_high": "rpm high",
    "filter": "Filter",
    "lead_time_days": "Lead time, days",
    "price": "Price",
    "warranty_months": "Warranty, months",
    "spec_source": "Source",
}


def has_data() -> bool:
    """Return whether the ledger exists and holds a vehicle."""
    return loaders.ledger_path().exists() and bool(loaders.ask("fleet_counts").iloc[0]["vehicles"])


def show_units() -> None:
    """Draw the units, found by number, VIN or model, a page at a time."""
    own = loaders.settings()["distance_unit"]
    find = st.text_input("Find", key="find_unit", placeholder="unit, VIN, make or model", bind="query-params")
    page = st.session_state.get("units_page", 1)
    rows = loaders.ask(
        "units", find=find.strip(), depot=None, rows=ROWS_A_PAGE, skip=(page - 1) * ROWS_A_PAGE
    )
    found = int(rows["found"].iloc[0]) if len(rows) else 0
    st.write(formats.count(found, "unit"))
    if found > ROWS_A_PAGE:
        pages = -(-found // ROWS_A_PAGE)
        st.number_input(f"Page of {pages:,}", 1, pages, 1, key="units_page")
    table = rows.drop(columns=["found"]).assign(
        last_odometer_km=formats.in_unit(rows["last_odometer_km"], own).round(0),
        pm_interval_km=formats.in_unit(rows["pm_interval_km"], own).round(0),
        last_visited_on=rows["last_visited_on"].map(formats.day),
        retires_on=rows["retires_on"].map(formats.day),
    )
    table = table.rename(
        columns={
            "unit": "Unit", "depot": "Depot", "class": "Class", "year": "Year", "make": "Make",
            "model": "Model", "engine": "Engine", "vin": "VIN", "last_odometer_km": f"Odometer, {own}",
            "last_visited_on": "Last visit", "pm_interval_km": f"Interval, {own}",
            "pm_interval_days": "Interval, days", "job_hours": "Job, hours", "retires_on": "Retires on",
        }
    )  # fmt: skip
    st.dataframe(table, hide_index=True, alt="Units with their depot, vehicle and last odometer.")
    frame.download(table, "units", "Save this page as CSV")


def show_pump_types() -> None:
    """Draw pump types with their specification."""
    types = loaders.ask("pump_types")
    table = types[list(TYPE_COLUMNS)].rename(columns=TYPE_COLUMNS)
    st.dataframe(table, hide_index=True, alt="Pump types with their specification.")
    lacking = types.loc[types["current_low_a"].isna(), "pump_type"].tolist()
    if lacking:
        st.write(
            f"Without a specified current: {', '.join(lacking)}. Their pumps are held against their own past."
        )
    frame.download(table, "pump_types")


def show_work() -> None:
    """Draw work done, newest first."""
    own = loaders.settings()["distance_unit"]
    find = st.text_input("Unit", key="find_work", placeholder="all units")
    rows = loaders.ask("services", find=find.strip(), rows=200, skip=0)
    found = int(rows["found"].iloc[0]) if len(rows) else 0
    st.write(formats.count(found, "entry", "entries") + (", the newest 200 shown" if found > 200 else ""))
    st.dataframe(
        pd.DataFrame(
            {
                "Day": rows["done_on"].map(formats.day),
                "Unit": rows["unit"],
                "Work": rows["work"],
                f"Odometer, {own}": formats.in_unit(rows["odometer_km"], own).round(0),
                "Note": rows["note"],
            }
        ),
        hide_index=True,
        alt="Work done, newest first.",
    )


def show_prices() -> None:
    """Draw the prices in use and take new ones, dated, with their source."""
    from analytics.cost_book import ELEMENT, ELEMENTS, TOTALS, read_costs

    currency = loaders.settings()["currency"]
    prices = read_costs(loaders.ledger_path()).prices()
    planned, failure = st.columns(2)
    planned.metric("Planned replacement, all in", formats.money(prices.planned, currency))
    failure.metric("On-failure replacement, all in", formats.money(prices.failure, currency))
    if prices.placeholders:
        st.write(
            f"{formats.count(len(prices.placeholders), 'element')} of these are placeholders that nobody has "
            "confirmed; every figure in money leans on them."
        )
    entries = loaders.ask("cost_entries")
    given = {row["element"]: row for row in entries.drop_duplicates("element").to_dict("records")}
    table = pd.DataFrame(
        [
            (
                e.label,
                given.get(e.name, {"amount": e.default})["amount"],
                currency if e.unit == "money" else e.unit,
                "yes" if given.get(e.name, {"confirmed": False})["confirmed"] else "no, placeholder",
                given.get(e.name, {"source": e.source})["source"],
            )
            for e in ELEMENTS
        ],
        columns=["Element", "Amount", "In", "Confirmed", "Source"],
    )
    st.dataframe(table, hide_index=True, alt="Elements of cost with amount, unit, confirmation and source.")
    labels = TOTALS | {e.name: e.label for e in ELEMENTS}
    with st.form("price", border=True):
        st.subheader("Give a price", anchor=False)
        element = st.selectbox("Element", list(labels), format_func=labels.__getitem__)
        unit = currency if element in TOTALS or ELEMENT[element].unit == "money" else ELEMENT[element].unit
        amount = st.number_input("Amount", 0.0, None, None, 10.0, help=f"In {unit}.")
        valid_from = st.date_input("From", "today", format="YYYY-MM-DD")
        source = st.text_input("Source", placeholder="invoice, quotation, ledger account")
        by = st.text_input("Your initials", max_chars=12)
        if st.form_submit_button("Keep this price", type="primary"):
            _try(lambda: _keep_price(element, amount, valid_from, source, by))


def _keep_price(element: str, amount: float | None, valid_from: date, source: str, by: str) -> None:
    from analytics.cost_book import set_cost

    changes.demand(by, "your initials")
    changes.demand(source, "where the price comes from")
    set_cost(
        loaders.ledger_path(),
        element,
        float("nan") if amount is None else amount,
        valid_from=valid_from,
        source=source.strip(),
        set_by=by.strip(),
    )


def show_settings() -> None:
    """Draw every setting beside its default and take a new value, dated."""
    settings = loaders.settings()
    rows = pd.DataFrame(
        [
            (key, json.dumps(settings[key]), json.dumps(default), "yes" if settings[key] != default else "")
            for key, default in DEFAULTS.items()
        ],
        columns=["Setting", "In force", "Default", "Changed"],
    )
    st.dataframe(rows, hide_index=True, alt="Settings in force beside their defaults.")
    st.caption(
        "Most defaults are common practice without a source; each verdict names the rule that used one."
    )
    with st.form("setting", border=True):
        st.subheader("Change a setting", anchor=False)
        key = st.selectbox("Setting", list(DEFAULTS))
        text = st.text_input("New value", placeholder="a number, or the text as shown above")
        valid_from = st.date_input("In force from", "today", format="YYYY-MM-DD")
        reason = st.text_input("Reason")
        by = st.text_input("Your initials", max_chars=12, key="setting_by")
        if st.form_submit_button("Change it", type="primary"):
            _try(lambda: _change_setting(str(key), text, valid_from, by, reason))


def _change_setting(key: str, text: str, valid_from: date, by: str, reason: str) -> None:
    changes.demand(by, "your initials")
    changes.demand(reason, "a reason")
    set_setting(
        loaders.ledger_path(), key, setting_value(key, text),
        by=by.strip(), reason=reason.strip(), valid_from=valid_from, command=changes.COMMAND,
    )  # fmt: skip


def setting_value(key: str, text: str) -> Any:
    """Return the value meant by `text`, of the kind the default has; raises EntryRefused otherwise."""
    from ingest.errors import EntryRefused
    from ingest.units import parse_number

    default = DEFAULTS[key]
    if isinstance(default, str):
        value: Any = text.strip().strip('"')
        allowed = ("mi", "km") if key == "distance_unit" else None
        if not value or (allowed and value not in allowed):
            raise EntryRefused("setting", f"{key}: give {' or '.join(allowed) if allowed else 'a text'}.")
        return value
    if isinstance(default, int | float):
        number = parse_number(text.strip(), field=key)
        return int(number) if isinstance(default, int) and number == int(number) else number
    try:
        value = json.loads(text)
    except ValueError as error:
        raise EntryRefused("setting", f"{key}: write it like {json.dumps(default)}.") from error
    if type(value) is not type(default):
        raise EntryRefused("setting", f"{key}: write it like {json.dumps(default)}.")
    return value


def _try(change: Any) -> None:
    try:
        change()
    except PumpledgerError as refused:
        st.error(f"▲ {refused.text}")
    else:
        st.rerun()


def show_changes() -> None:
    """Draw the latest changes: who, what, from what, to what, why."""
    rows = loaders.ask("changes", rows=200)
    if not len(rows):
        st.write("Nothing has been changed by hand yet.")
        return
    st.dataframe(rows, hide_index=True, alt="The latest changes with who made them and why.")


def show_loading() -> None:
    """Look at a fleet folder first, then bring it in."""
    st.write(
        "A fleet folder holds vehicles.csv, pumps.csv, visits.csv and the like, beside fleet.toml. "
        "Look first: nothing is stored by looking. Bringing the same folder in again changes nothing."
    )
    text = st.text_input("Folder on this machine", key="folder", placeholder="path to the folder")
    look, bring = st.columns(2)
    looked = look.button("Look first", width="stretch", disabled=not text)
    brought = bring.button("Bring it in", type="primary", width="stretch", disabled=not text)
    if looked or brought:
        try:
            _load(Path(text).expanduser(), dry_run=looked)
        except PumpledgerError as refused:
            st.error(f"▲ {refused.text}")


def _load(folder: Path, *, dry_run: bool) -> None:
    from ingest.fleet_folder import load_folder

    bar = st.progress(0.0, "Reading the tables …")

    def progress(done: int, of: int, name: str) -> None:
        bar.progress(min(1.0, done / of) if of else 1.0, f"{name}: {done:,} of {of:,}")

    report = load_folder(loaders.ledger_path(), folder, dry_run=dry_run, progress=progress, by="dashboard")
    bar.empty()
    if report.stored:
        st.success(f"Brought in: {formats.count(report.changes, 'row')} added or changed.")
    elif dry_run:
        st.info("Looked only: nothing was stored.")
    else:
        st.error("▲ Nothing was stored.")
    st.dataframe(
        pd.DataFrame(
            [
                (c.file, c.rows, c.added, c.changed, c.unchanged, c.questioned, c.refused)
                for c in report.tables
            ],
            columns=["File", "Rows", "New", "Changed", "Same", "In question", "Refused"],
        ),
        hide_index=True,
        alt="What became of the rows of each file.",
    )
    for notice in report.notices:
        st.write(f"· {notice}")
    for title, problems in (("Refused rows", report.refused), ("Rows in question", report.questions)):
        if problems:
            st.subheader(title, anchor=False)
            st.markdown("\n".join(f"- {p.sentence()}" for p in problems[:50]))
            if len(problems) > 50:
                st.caption(f"{len(problems) - 50:,} more.")
