"""Prices and settings on the fleet data page: what is in force, and a form for a new value, dated."""

from __future__ import annotations

import json
import math
from datetime import date
from typing import TYPE_CHECKING, Any

import pandas as pd
import streamlit as st

from dashboard.data import changes, loaders
from dashboard.shell import access, frame, initials, lists, say
from dashboard.words import formats
from dashboard.words.plain import plain
from ingest.errors import EntryRefused
from ingest.ledger.settings import set_setting
from ingest.settings_in_force import by_name
from ingest.trade_numbers import DEFAULTS, SETTINGS
from ingest.units import parse_number

if TYPE_CHECKING:
    from analytics.money.cost_book import CostBook


def show_prices() -> None:
    """Draw the prices in use and take new ones, dated, with their source."""
    from analytics.money.elements import TOTALS

    currency = loaders.settings()["currency"]
    book = loaders.cost_book()
    prices = book.prices()
    planned, failure = st.columns(2)
    planned.metric("Planned replacement, all in", plain(formats.money(prices.planned, currency)))
    failure.metric("On-failure replacement, all in", plain(formats.money(prices.failure, currency)))
    if prices.placeholders:
        n = len(prices.placeholders)
        say.line(
            f"Placeholders among the prices behind these, confirmed by nobody: {n}. Every figure in money "
            "leans on them."
        )
    for name in (n for n in TOTALS if book.whole(n) is not None):
        say.note(
            f"{TOTALS[name]} is given whole, so none of its elements counts. To price it by them again, "
            "give the "
            "whole amount without a number."
        )
    table = price_table(book, currency)
    lists.show(table, "Prices with amount, unit, confirmation and source.", "prices")
    if access.may("prices"):
        with frame.off_paper("price"):
            _give_price(currency)


def price_table(book: CostBook, currency: str) -> pd.DataFrame:
    """Return every price in force: whole amounts given, each element, and those of one class or depot."""
    from analytics.money.cost_book import ELEMENT, ELEMENTS, TOTALS

    labels = TOTALS | {e.name: e.label for e in ELEMENTS}

    def unit(name: str) -> str:
        return currency if name in TOTALS or ELEMENT[name].unit == "money" else ELEMENT[name].unit

    def row(name: str, entry: Any, whom: str) -> tuple[Any, ...]:
        if entry is None:
            return (
                labels[name],
                whom,
                ELEMENT[name].default,
                unit(name),
                "no, placeholder",
                None,
                (ELEMENT[name].source),
            )
        confirmed = "yes" if entry.confirmed else "no, placeholder"
        since = formats.UNKNOWN if entry.valid_from.year == 1900 else formats.day(entry.valid_from)
        return labels[name], whom, entry.amount, unit(name), confirmed, since, entry.source

    whole = [row(name, entry, "all") for name in TOTALS if (entry := book.whole(name)) is not None]
    single = [row(e.name, book.entry(e.name), "all") for e in ELEMENTS]
    narrow = {(e.element, e.vehicle_class, e.depot) for e in book.entries if e.vehicle_class or e.depot}
    special = [
        row(name, book.entry(name, cls, depot), ", ".join(filter(None, (cls, depot))))
        for name, cls, depot in sorted(narrow, key=str)
    ]
    columns = ["Price", "For", "Amount", "In", "Confirmed", "Since", "Source"]
    return pd.DataFrame([*whole, *single, *special], columns=columns)


def _give_price(currency: str) -> None:
    from analytics.money.cost_book import ELEMENT, ELEMENTS, TOTALS

    labels = TOTALS | {e.name: e.label for e in ELEMENTS}
    st.subheader("Give a price", anchor=False)
    element = st.selectbox("Which price", list(labels), format_func=labels.__getitem__, key="price_element")
    unit = currency if element in TOTALS or ELEMENT[element].unit == "money" else ELEMENT[element].unit
    with st.form("price", border=True):
        a, b = st.columns(2)
        amount = a.number_input(plain(f"Amount, {unit}"), 0.0, None, None, 10.0)
        valid_from = b.date_input("From", "today", format="YYYY-MM-DD")
        a, b = st.columns(2)
        chosen = {
            field: place.selectbox(label, loaders.values_of(field), index=None, placeholder="all")
            for place, field, label in (
                (a, "class", "Only for the class"),
                (b, "depot", "Only for the depot"),
            )
        }
        source = st.text_input("Source", placeholder="invoice, quotation, ledger account")
        by = initials.ask("prices_by")
        if st.form_submit_button("Keep this price", type="primary", width="stretch"):
            frame.attempt(
                lambda: _keep_price(element, amount, valid_from, chosen, source, by),
                f"{labels[element]} is kept from {formats.day(valid_from)} on.",
            )


def _keep_price(
    element: str, amount: float | None, valid_from: date, chosen: dict[str, Any], source: str, by: str
) -> None:
    from analytics.money.cost_book import set_cost
    from analytics.money.elements import TOTALS

    author = access.author(by)
    changes.demand(source, "where the price comes from")
    set_cost(
        loaders.ledger_path(),
        element,
        amount if amount is not None or element in TOTALS else float("nan"),
        vehicle_class=chosen["class"],
        depot=chosen["depot"],
        valid_from=valid_from,
        source=source.strip(),
        author=author,
    )


def show_settings() -> None:
    """Draw every setting beside its default and take a new value, dated."""
    settings = loaders.settings()
    rows = pd.DataFrame(
        [
            (
                key,
                _as_typed(by_name(settings, key)),
                _as_typed(setting.default),
                "yes" if by_name(settings, key) != setting.default else "",
                setting.meaning.replace("`", ""),
                f"[{setting.mark}]" if setting.mark else "",
            )
            for key, setting in SETTINGS.items()
        ],
        columns=["Setting", "In force", "Default", "Changed", "Meaning", "Mark"],
    )
    lists.show(rows, "Settings in force beside their defaults.", "settings")
    say.note(
        "[S] public source · [W] several public pages · [P] common practice, no source; without a mark: the "
        "fleet's own choice. Each verdict names the rule that used one."
    )
    if not access.may("settings"):
        return
    with st.form("setting", border=True):
        st.subheader("Change a setting", anchor=False)
        key = st.selectbox("Setting", list(DEFAULTS))
        text = st.text_input("New value", placeholder="a number, or the text as shown above")
        valid_from = st.date_input("In force from", "today", format="YYYY-MM-DD")
        reason = st.text_input("Reason")
        by = initials.ask("setting_by")
        if st.form_submit_button("Change it", type="primary"):
            frame.attempt(
                lambda: _change_setting(str(key), text, valid_from, by, reason),
                f"{key} holds from {formats.day(valid_from)} on.",
            )


def _as_typed(value: Any) -> str:
    """Return a setting as a person would type it."""
    if isinstance(value, float) and math.isfinite(value):
        return f"{value:.10g}"
    return value if isinstance(value, str) else json.dumps(value)


def _change_setting(key: str, text: str, valid_from: date, by: str, reason: str) -> None:
    author = access.author(by)
    changes.demand(reason, "a reason")
    set_setting(
        loaders.ledger_path(), key, setting_value(key, text),
        author=author, reason=reason.strip(), valid_from=valid_from, command=changes.COMMAND,
    )  # fmt: skip


def setting_value(key: str, text: str) -> Any:
    """Return the value meant by `text`, of the kind the default has; raises EntryRefused otherwise."""
    default = SETTINGS[key].default
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
