"""What a replacement costs: elements with a price each, dated, by vehicle class or depot, with their source.

A planned replacement costs the sum of its elements, an on-failure one the sum of its own. Where the fleet
has entered a whole amount (`planned_replacement`, `failure_replacement`), that stands, and what is entered
for one element later moves it by the difference. Every default is a placeholder until the fleet confirms a
price; the amounts are ours, of the size trade press and public pages report, and are no fact about any fleet.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd

from analytics.statements import statement
from ingest.author import Author
from ingest.errors import EntryRefused
from ingest.ledger.changes import log_change
from ingest.ledger.connection import open_ledger
from ingest.ledger.rows import insert_row
from ingest.ledger.settings import settings_at, settings_chosen
from ingest.ledger.transaction import transaction
from ingest.trade_numbers import DEFAULTS

PLANNED, FAILURE = "planned_replacement", "failure_replacement"
CHECK = "check"


@dataclass(frozen=True)
class Element:
    """One element of cost: `unit` is money, hours or "of labour rate"; `side` the cost it goes into."""

    name: str
    label: str
    default: float
    unit: str
    side: str
    source: str = "placeholder, common practice"


ELEMENTS: tuple[Element, ...] = (
    Element("labour_per_hour", "Labour, an hour", 120, "money", "rate"),
    Element("downtime_per_hour", "Vehicle off the road, an hour", 50, "money", "rate"),
    Element("driver_per_hour", "Driver waiting, an hour", 40, "money", "rate"),
    Element("part", "Pump and seals, where its type has no price", 210, "money", "both"),
    Element("planned_labour_hours", "Planned change: labour, where the unit has none", 2.5, "hours", PLANNED),
    Element("planned_downtime_hours", "Planned change: off the road besides the PM", 2, "hours", PLANNED),
    Element("planned_sundries", "Planned change: fuel handling, gaskets, disposal", 40, "money", PLANNED),
    Element("failure_labour_hours", "After a failure: labour with diagnosis", 4, "hours", FAILURE),
    Element("premium_labour_factor", "After a failure: out-of-hours labour factor", 1.25, "factor", FAILURE),
    Element(
        "tow", "Tow", 400, "money", FAILURE, "placeholder; trade press, late 2019: 1,485 for heavy trucks"
    ),
    Element(
        "road_call",
        "Road call",
        250,
        "money",
        FAILURE,
        "placeholder; trade press, early 2020: 491 for heavy trucks",
    ),
    Element("failure_downtime_hours", "After a failure: off the road", 8, "hours", FAILURE),
    Element("driver_wait_hours", "After a failure: driver waits (public pages: 2–4 h)", 3, "hours", FAILURE),
    Element("substitute_vehicle", "Substitute vehicle", 200, "money", FAILURE),
    Element("missed_job", "Missed job or trip", 120, "money", FAILURE),
    Element("secondary_damage", "Secondary damage, on average", 100, "money", FAILURE),
    Element("capture_hours", "A capture at a PM: labour", 0.25, "hours", "capture"),
    Element("follow_up_hours", "A follow-up test: labour", 0.5, "hours", "follow_up"),
    Element("check_tank_closed", "A check with the tank closed: labour", 40, "money", CHECK),
    Element("check_tank_open", "The same with the tank opened, where the pump stays", 80, "money", CHECK),
    Element("extra_stop", "A stop made for the pump alone", 60, "money", CHECK),
    Element("part_returned", "A part that goes back unused", 25, "money", CHECK),
    Element("comeback", "A comeback after a change", 1500, "money", CHECK),
    Element("other_breakdown", "A breakdown for a cause beside the pump", 900, "money", CHECK),
    Element("false_alarm", "A needless replacement, on top of the replacement", 60, "money", "false_alarm"),
)
ELEMENT = {element.name: element for element in ELEMENTS}
TOTALS = {PLANNED: "Planned replacement, all in", FAILURE: "On-failure replacement, all in"}


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

    def amount(
        self,
        element: str,
        vehicle_class: str | None = None,
        depot: str | None = None,
        known_by: datetime | None = None,
    ) -> tuple[float | None, bool, datetime | None]:
        """Return (amount, confirmed, recorded_at) of the most specific, latest entry; None without one."""
        row = self.entry(element, vehicle_class, depot, known_by)
        return (None, False, None) if row is None else (row.amount, row.confirmed, row.recorded_at)

    def entry(
        self,
        element: str,
        vehicle_class: str | None = None,
        depot: str | None = None,
        known_by: datetime | None = None,
    ) -> Entry | None:
        """Return the entry that holds for one class and depot, or None."""
        fits = [
            row
            for row in self.entries
            if row.element == element
            and row.vehicle_class in (None, vehicle_class)
            and row.depot in (None, depot)
            and (known_by is None or row.recorded_at <= known_by)
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
        """Return what events cost for one kind of pump."""
        at, confirmed = self._amounts(vehicle_class, depot)
        sums = self._sums(at, pump_type, job_hours)
        used: dict[str, set[str]] = {side: _used(side) for side in (PLANNED, FAILURE)}
        if pump_type in self.type_prices:
            used = {side: names - {"part"} for side, names in used.items()}
        if job_hours:
            used[PLANNED] = used[PLANNED] - {"planned_labour_hours"}
        behind: set[str] = set()  # the two replacements
        for side in (PLANNED, FAILURE):
            total, total_confirmed, when = self.amount(side, vehicle_class, depot)
            if total is None:
                behind |= used[side]
                continue
            before, _ = self._amounts(vehicle_class, depot, known_by=when)
            # The type's price and the unit's hours were part of the whole amount already.
            sums[side] = total + self._sums(at, None, None)[side] - self._sums(before, None, None)[side]
            if not total_confirmed:
                behind.add(side)
        others = _used("capture") | _used("follow_up") | _used("false_alarm") | _used(CHECK)

        def unconfirmed(names: set[str]) -> tuple[str, ...]:
            return tuple(sorted(name for name in names if not confirmed.get(name)))

        return Prices(
            planned=max(sums[PLANNED], 0.0),
            failure=max(sums[FAILURE], 0.0),
            capture=at["capture_hours"] * at["labour_per_hour"],
            follow_up=at["follow_up_hours"] * at["labour_per_hour"],
            false_alarm=at["false_alarm"],
            labour_per_hour=at["labour_per_hour"],
            placeholders=unconfirmed(behind | others),
            of_replacements=unconfirmed(behind),
            check_closed=at["check_tank_closed"],
            check_open=at["check_tank_open"],
            extra_stop=at["extra_stop"],
            part_returned=at["part_returned"],
            comeback=at["comeback"],
            other_breakdown=at["other_breakdown"],
        )

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
        """Return every element as in force, with its label, unit, source, scope and whether confirmed."""
        rows = []
        for name, label, default, unit, source in [
            *((n, label, None, "money", "sum of the elements") for n, label in TOTALS.items()),
            *((e.name, e.label, e.default, e.unit, e.source) for e in ELEMENTS),
        ]:
            row = self.entry(name, vehicle_class, depot)
            amount, confirmed = (None, False) if row is None else (row.amount, row.confirmed)
            if name in TOTALS:
                prices = self.prices(vehicle_class, depot)
                amount = prices.planned if name == PLANNED else prices.failure
                confirmed = not prices.of_replacements if row is None else confirmed
            rows.append(
                {
                    "element": name,
                    "label": label,
                    "amount": default if amount is None else amount,
                    "unit": unit,
                    "confirmed": confirmed,
                    "source": source if row is None else (row.source or "no source given"),
                    "valid_from": None if row is None else row.valid_from,
                    "scope": "" if row is None else _scope(row.vehicle_class, row.depot),
                }
            )
        return pd.DataFrame(rows)

    def _amounts(
        self, vehicle_class: str | None, depot: str | None, known_by: datetime | None = None
    ) -> tuple[dict[str, float], dict[str, bool]]:
        amounts, confirmed = {}, {}
        for element in ELEMENTS:
            amount, sure, _ = self.amount(element.name, vehicle_class, depot, known_by)
            amounts[element.name] = element.default if amount is None else amount
            confirmed[element.name] = sure
        return amounts, confirmed

    def _sums(self, at: dict[str, float], pump_type: str | None, job_hours: float | None) -> dict[str, float]:
        part = self.type_prices.get(pump_type or "", at["part"])
        labour, off = at["labour_per_hour"], at["downtime_per_hour"]
        return {
            PLANNED: part
            + (job_hours or at["planned_labour_hours"]) * labour
            + at["planned_downtime_hours"] * off
            + at["planned_sundries"],
            FAILURE: part
            + at["failure_labour_hours"] * labour * at["premium_labour_factor"]
            + at["tow"]
            + at["road_call"]
            + at["failure_downtime_hours"] * off
            + at["driver_wait_hours"] * at["driver_per_hour"]
            + at["substitute_vehicle"]
            + at["missed_job"]
            + at["secondary_damage"],
        }


def _used(side: str) -> set[str]:
    names = {e.name for e in ELEMENTS if e.side in (side, "both" if side in TOTALS else side)}
    if side in TOTALS:
        names |= {"labour_per_hour", "downtime_per_hour"}
    if side == FAILURE:
        names |= {"driver_per_hour"}
    if side in ("capture", "follow_up"):
        names |= {"labour_per_hour"}
    return names


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
            sure = amount != DEFAULTS[name]
            entries.append(Entry(name, amount, None, None, "setting", sure, start, datetime(1900, 1, 1)))
    types = connection.execute(statement("type_prices")).fetchall()
    currency = str(settings_at(connection, on)["currency"])
    return CostBook(on, currency, tuple(entries), dict(types))


def set_cost(
    ledger: Path,
    element: str,
    amount: float,
    *,
    vehicle_class: str | None = None,
    depot: str | None = None,
    valid_from: date | None = None,
    source: str | None = None,
    confirmed: bool = True,
    author: Author,
) -> str:
    """Store the price of one element (or a whole amount) from a day on; return the sentence to show.

    Raises EntryRefused for an unknown element or an amount that is no number of 0 or more.
    """
    if element not in ELEMENT and element not in TOTALS:
        known = ", ".join([*TOTALS, *ELEMENT])
        raise EntryRefused("unknown-element", f"There is no cost element '{element}'; there are {known}.")
    if not np.isfinite(amount) or amount < 0:
        raise EntryRefused("bad-price", f"{element}: {amount:g} is no price; give a number of 0 or more.")
    if element in TOTALS and amount == 0:
        raise EntryRefused(
            "bad-price", f"{element}: a replacement can't cost nothing; give a number above 0."
        )
    with open_ledger(ledger, read_only=False) as connection:
        with transaction(connection, author, "prices", command="set-cost") as stamp:
            currency = str(settings_at(connection)["currency"])
            before = cost_book(connection, valid_from or date.today()).entry(element, vehicle_class, depot)
            row = {"element": element, "amount": float(amount), "currency": currency, "source": source}
            row |= {"class": vehicle_class, "depot": depot, "confirmed": confirmed, "set_by": stamp.by}
            if valid_from:
                row["valid_from"] = valid_from
            insert_row(connection, "cost_entry", row | {"recorded_at": stamp.at})
            log_change(
                connection, "cost_entry", ", ".join(filter(None, (element, vehicle_class, depot))), "amount",
                None if before is None else before.amount, float(amount), stamp, reason=source,
            )  # fmt: skip
        prices = cost_book(connection, valid_from or date.today()).prices(vehicle_class, depot)
    text = f"{element} is {amount:,.6g} {currency if _unit(element) == 'money' else _unit(element)}."
    return f"{text} {ratio_sentence(prices)}".strip()


def _unit(element: str) -> str:
    return "money" if element in TOTALS else ELEMENT[element].unit


def ratio_sentence(prices: Prices) -> str:
    """Return what is odd about the prices, or ""."""
    if prices.planned <= 0:
        return "A planned replacement costs nothing by these prices; enter what it costs."
    if prices.failure <= prices.planned:
        return (
            f"An on-failure replacement ({prices.failure:,.0f}) costs no more than a planned one "
            f"({prices.planned:,.0f}), so on cost alone no pump is worth changing before it fails."
        )
    return ""
