"""What a replacement costs: elements with a price each, dated, by vehicle class or depot, with their source.

A planned replacement costs the sum of its elements, an on-failure one the sum of its own (elements.py), or,
where the fleet has given one, a whole amount (`planned_replacement`, `failure_replacement`): then no element
of it counts, so nothing is counted twice.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd

from analytics.money import elements
from analytics.money.elements import ELEMENT, ELEMENTS, FAILURE, LABOUR, PLANNED, SIDES, TOTALS, unit_of
from analytics.statements import statement
from analytics.wording import Remark, remark
from ingest.author import Author
from ingest.errors import EntryRefused
from ingest.ledger.changes import log_change
from ingest.ledger.connection import open_ledger
from ingest.ledger.rows import insert_row
from ingest.ledger.settings import settings_at, settings_chosen
from ingest.ledger.transaction import transaction
from ingest.trade_numbers import SETTINGS


@dataclass(frozen=True)
class Entry:
    """One price as entered."""

    element: str
    amount: float
    vehicle_class: str | None
    depot: str | None
    source: str | None
    confirmed: bool
    valid_from: date
    recorded_at: datetime
    number: int = 0  # of two from the same day on, the higher holds


@dataclass(frozen=True)
class Prices:
    """What one pump's events cost, in money.

    placeholders: the elements that no one has confirmed; of_replacements: those of them that the two
    replacements rest on.
    """

    planned: float
    failure: float
    capture: float
    follow_up: float
    false_alarm: float
    labour_per_hour: float
    placeholders: tuple[str, ...]
    of_replacements: tuple[str, ...] = ()
    check_closed: float = 0.0
    check_open: float = 0.0
    extra_stop: float = 0.0
    part_returned: float = 0.0
    comeback: float = 0.0
    other_breakdown: float = 0.0

    @property
    def ratio(self) -> float:
        """Return on-failure over planned cost."""
        return self.failure / self.planned if self.planned else np.inf


PRICE_COLUMNS = (
    "planned", "failure", "capture", "follow_up", "false_alarm", "labour_per_hour", "of_replacements",
    "check_closed", "check_open", "extra_stop", "part_returned", "comeback", "other_breakdown",
)  # fmt: skip


@dataclass(frozen=True)
class CostBook:
    """Every price as in force on `on`; `entries` are the rows of cost_entries.sql."""

    on: date
    currency: str
    entries: tuple[Entry, ...]
    type_prices: Mapping[str, float]

    def entry(self, element: str, vehicle_class: str | None = None, depot: str | None = None) -> Entry | None:
        """Return the entry that holds for one class and depot: the most specific, then the latest; or
        None."""
        fits = [
            row
            for row in self.entries
            if row.element == element
            and row.vehicle_class in (None, vehicle_class)
            and row.depot in (None, depot)
        ]
        # A depot's own price is nearer the bill than a class's.
        return max(
            fits,
            key=lambda r: (r.depot is not None, r.vehicle_class is not None, r.valid_from, r.number),
            default=None,
        )

    def prices(
        self,
        vehicle_class: str | None = None,
        depot: str | None = None,
        pump_type: str | None = None,
        job_hours: float | None = None,
    ) -> Prices:
        """Return what events cost for one kind of pump.

        A replacement costs the whole amount where one is in force, else the sum of its elements: never both.
        The type's price and the unit's hours take the place of their elements; of a whole amount they are
        part.
        """
        amounts, confirmed = self._amounts(vehicle_class, depot)
        own = set()
        if pump_type in self.type_prices:
            own.add("part")
        if job_hours:
            own.add("planned_labour_hours")
        at = dict(amounts)
        at["part"] = self.type_prices.get(pump_type or "", at["part"])
        at["planned_labour_hours"] = job_hours or at["planned_labour_hours"]
        sums = elements.sums(at)
        replacements: set[str] = set()  # what the two rest on
        for side in TOTALS:
            whole = self.whole(side, vehicle_class, depot)
            if whole is None:
                names = elements.behind(side) - own
                # A default written out whole stands for its elements until one of them is confirmed.
                written = self.entry(side, vehicle_class, depot)
                by_default = written is not None and written.amount != 0
                replacements |= {side} if by_default and not any(confirmed[n] for n in names) else names
                continue
            sums[side] = whole.amount
            if not whole.confirmed:
                replacements.add(side)
        others = {name for side in SIDES if side not in TOTALS for name in elements.behind(side)}

        def unconfirmed(names: set[str]) -> tuple[str, ...]:
            return tuple(sorted(name for name in names if not confirmed.get(name)))

        return Prices(
            planned=sums[PLANNED],
            failure=sums[FAILURE],
            labour_per_hour=at[LABOUR],
            placeholders=unconfirmed(replacements | others),
            of_replacements=unconfirmed(replacements),
            **{side: sums[side] for side in SIDES if side not in TOTALS},
        )

    def whole(self, side: str, vehicle_class: str | None = None, depot: str | None = None) -> Entry | None:
        """Return the whole amount in force for one of TOTALS, or None where its elements count.

        An entry of 0 says that the elements count again; a default nobody has confirmed is no statement.
        """
        entry = self.entry(side, vehicle_class, depot)
        if (
            entry is None
            or entry.amount == 0
            or (not entry.confirmed and entry.amount == SETTINGS[side].default)
        ):
            return None
        return entry

    def on_day(self, day: date) -> CostBook:
        """Return the prices as in force on an earlier day."""
        return replace(self, on=day, entries=tuple(e for e in self.entries if e.valid_from <= day))

    def with_prices(
        self,
        amounts: Mapping[str, float | None],
        vehicle_class: str | None = None,
        depot: str | None = None,
    ) -> CostBook:
        """Return the book with these prices in force from its day on, written nowhere: what if."""
        number = 1 + max((entry.number for entry in self.entries), default=0)
        entries = [
            Entry(name, 0.0 if amount is None else amount, vehicle_class, depot, "what if", True, self.on,
                  datetime.max, number + i)
            for i, (name, amount) in enumerate(amounts.items())
        ]  # fmt: skip
        return replace(self, entries=(*self.entries, *entries))

    def price_frame(self, pumps: pd.DataFrame) -> pd.DataFrame:
        """Return the columns PRICE_COLUMNS (as in Prices) and placeholder (whether the two replacements rest
        on any) per pump.

        pumps: class, depot, pump_type, and job_hours where known; the index is kept.
        """
        columns = ["class", "depot", "pump_type"]
        keys = pumps.reindex(columns=[*columns, "job_hours"])
        keys = keys.astype(object).where(keys.notna(), None)
        made: dict[tuple, tuple] = {}
        rows = []
        for key in keys.itertuples(index=False, name=None):
            if key not in made:
                p = self.prices(*key)
                made[key] = (*(getattr(p, name) for name in PRICE_COLUMNS), bool(p.of_replacements))
            rows.append(made[key])
        return pd.DataFrame(rows, columns=[*PRICE_COLUMNS, "placeholder"], index=pumps.index)

    def table(self, vehicle_class: str | None = None, depot: str | None = None) -> pd.DataFrame:
        """Return every element as in force: element, label, amount, unit, confirmed, source, valid_from,
        scope, counts (bool: whether a sum takes it in; an element under a whole amount stands by)."""
        prices = self.prices(vehicle_class, depot)
        given = {side for side in TOTALS if self.whole(side, vehicle_class, depot) is not None}
        in_use = {name for side in SIDES if side not in given for name in elements.behind(side)} | set(TOTALS)
        rows = []
        for name, label, default, source in [
            *((n, label, None, "sum of the elements") for n, label in TOTALS.items()),
            *((e.name, e.label, e.default, e.source) for e in ELEMENTS),
        ]:
            row = self.entry(name, vehicle_class, depot)
            if name in TOTALS and name not in given:
                row = None
            amount, confirmed = (default, False) if row is None else (row.amount, row.confirmed)
            if amount is None:
                amount = prices.planned if name == PLANNED else prices.failure
                confirmed = not (set(prices.of_replacements) & elements.behind(name))
            rows.append(
                {
                    "element": name,
                    "label": label,
                    "amount": amount,
                    "unit": unit_of(name),
                    "confirmed": confirmed,
                    "source": source if row is None else (row.source or "no source given"),
                    "valid_from": None if row is None else row.valid_from,
                    "scope": "" if row is None else _scope(row.vehicle_class, row.depot),
                    "counts": name in in_use,
                }
            )
        return pd.DataFrame(rows)

    def _amounts(
        self, vehicle_class: str | None, depot: str | None
    ) -> tuple[dict[str, float], dict[str, bool]]:
        amounts, confirmed = {}, {}
        for element in ELEMENTS:
            entry = self.entry(element.name, vehicle_class, depot)
            amounts[element.name] = element.default if entry is None else entry.amount
            confirmed[element.name] = entry is not None and entry.confirmed
        return amounts, confirmed


def _scope(vehicle_class: str | None, depot: str | None) -> str:
    parts = [f"class {vehicle_class}"] if vehicle_class else []
    return ", ".join([*parts, *([f"depot {depot}"] if depot else [])])


def read_costs(ledger: Path, on: date | None = None) -> CostBook:
    """Return the prices in force on `on` (default: today)."""
    with open_ledger(ledger) as connection:
        return cost_book(connection, on or date.today())


def cost_book(connection: duckdb.DuckDBPyConnection, on: date) -> CostBook:
    """As `read_costs`, on an open connection."""
    rows = connection.execute(statement("cost_entries"), [on]).fetchall()
    entries = [Entry(*row) for row in rows]
    settings = settings_chosen(connection, on)
    # A whole amount may also have been set as a setting; an entry made for it counts first.
    for name in (PLANNED, FAILURE):
        if name in settings and not any(entry.element == name for entry in entries):
            amount, start = float(settings[name]), date(1900, 1, 1)
            sure = amount != SETTINGS[name].default
            entries.append(Entry(name, amount, None, None, "setting", sure, start, datetime(1900, 1, 1)))
    types = connection.execute(statement("type_prices")).fetchall()
    currency = str(settings_at(connection, on)["currency"])
    return CostBook(on, currency, tuple(entries), dict(types))


HIGHEST_PRICE = 1e12  # in any currency there is; more is a slip of the key
LOWEST_REPLACEMENT = 0.01


def refuse_unknown_place(ledger: Path, vehicle_class: str | None, depot: str | None) -> None:
    """Raise EntryRefused for a class or depot that no unit is of, where any unit says: its price would count
    for nothing."""
    with open_ledger(ledger) as connection:
        there = connection.execute(statement("vehicle_places")).fetchall()
    for place, (what, told) in enumerate((("class", vehicle_class), ("depot", depot))):
        known = sorted({row[place] for row in there} - {None})
        if told is not None and known and told not in known:
            named = ", ".join(known[:20])
            raise EntryRefused(f"unknown-{what}", f"No unit is of {what} '{told[:40]}'; there are: {named}.")


def price_change(
    book: CostBook,
    element: str,
    amount: float | None,
    *,
    vehicle_class: str | None = None,
    depot: str | None = None,
) -> float:
    """Return the amount to store for a new price, or raise EntryRefused with the reason why it can't be one.

    amount: None gives a whole amount up, so that its elements count again; stored as 0. A price of an element
    is refused where a whole amount that contains it is in force: it would count for nothing, or twice.
    """
    if element not in ELEMENT and element not in TOTALS:
        known = ", ".join([*TOTALS, *ELEMENT])
        raise EntryRefused("unknown-element", f"There is no cost element '{element}'; there are {known}.")
    if amount is None and element not in TOTALS:
        raise EntryRefused("bad-price", f"{element}: give a number of 0 or more; it has no elements.")
    if amount is not None and not 0 <= amount <= HIGHEST_PRICE:  # nan lies nowhere
        raise EntryRefused(
            "bad-price",
            f"{element}: {amount:g} is no price; give a number of 0 or more, up to {HIGHEST_PRICE:,.0f}.",
        )
    if element in TOTALS and amount is not None and amount < LOWEST_REPLACEMENT:
        raise EntryRefused(
            "bad-price", f"{element}: a replacement can't cost nothing; give a number above 0."
        )
    sides = ELEMENT[element].sides if element in ELEMENT else ()
    given = [side for side in sides if side in TOTALS and book.whole(side, vehicle_class, depot) is not None]
    if given and len(given) == len([side for side in sides if side in TOTALS]):
        whole = book.whole(given[0], vehicle_class, depot)
        assert whole is not None
        raise EntryRefused(
            "counted-twice",
            f"{element} is part of {given[0]}, which is given whole as {whole.amount:,.6g} {book.currency}, "
            f"so it would count twice. Change the whole amount, or give {given[0]}=elements first to count "
            "by elements.",
        )
    return 0.0 if amount is None else float(amount)


def set_cost(
    ledger: Path,
    element: str,
    amount: float | None,
    *,
    vehicle_class: str | None = None,
    depot: str | None = None,
    valid_from: date | None = None,
    source: str | None = None,
    confirmed: bool = True,
    author: Author,
) -> str:
    """Store the price of one element (or a whole amount) from a day on (default: today, so that the past
    stays); return the sentence to show.

    Raises EntryRefused as `price_change` does.
    """
    day = valid_from or date.today()
    with open_ledger(ledger, read_only=False) as connection:
        book = cost_book(connection, day)
        kept = price_change(book, element, amount, vehicle_class=vehicle_class, depot=depot)
        with transaction(connection, author, "prices", command="set-cost") as stamp:
            before = book.entry(element, vehicle_class, depot)
            row = {"element": element, "amount": kept, "currency": book.currency, "source": source}
            row |= {"class": vehicle_class, "depot": depot, "confirmed": confirmed, "set_by": stamp.by}
            insert_row(connection, "cost_entry", row | {"valid_from": day, "recorded_at": stamp.at})
            log_change(
                connection, "cost_entry", ", ".join(filter(None, (element, vehicle_class, depot))), "amount",
                None if before is None else before.amount, kept, stamp, reason=source,
            )  # fmt: skip
        prices = cost_book(connection, day).prices(vehicle_class, depot)
    text = f"{element} is {price_words(element, amount, book.currency)} from {day} on."
    odd = odd_prices(prices)
    return f"{text} {odd.text}" if odd else text


def price_words(element: str, amount: float | None, currency: str) -> str:
    """Return a price as said: "520 USD", "2.5 hours", "the sum of its elements"."""
    if amount is None:
        return "the sum of its elements"
    return f"{amount:,.6g} {currency if unit_of(element) == 'money' else unit_of(element)}"


def odd_prices(prices: Prices) -> Remark | None:
    """Return what is odd about the prices, if anything."""
    if prices.planned <= 0:
        return remark("planned-costs-nothing")
    if prices.failure <= prices.planned:
        return remark("failure-no-dearer", failure=prices.failure, planned=prices.planned)
    return None
