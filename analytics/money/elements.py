"""The elements of cost, one row each: what is shown, priced, asked for and added up is read from this table.

A row says into which sums it goes (`sides`) and by which rate or factor it is multiplied, so a new row is
priced, shown and summed at once, and a row that goes into no sum is refused on import. Every default is a
placeholder until the fleet confirms a price; the amounts are ours, of the size trade press and public pages
report, and are no fact about any fleet.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

PLANNED, FAILURE = "planned_replacement", "failure_replacement"
CAPTURE, FOLLOW_UP, FALSE_ALARM = "capture", "follow_up", "false_alarm"
CHECKS = ("check_closed", "check_open", "extra_stop", "part_returned", "comeback", "other_breakdown")
SIDES = (PLANNED, FAILURE, CAPTURE, FOLLOW_UP, FALSE_ALARM, *CHECKS)
TOTALS = {PLANNED: "Planned replacement, all in", FAILURE: "On-failure replacement, all in"}
PLACEHOLDER = "placeholder, common practice"
LABOUR, OFF_ROAD, DRIVER, PREMIUM = (
    "labour_per_hour",
    "downtime_per_hour",
    "driver_per_hour",
    "premium_labour_factor",
)


@dataclass(frozen=True)
class Element:
    """One element: `unit` is money, hours or factor; it goes into each of `sides`, times the elements `rate`
    and `factor` where it has them. A rate or factor goes into sums by way of the elements that name it."""

    name: str
    label: str
    default: float
    unit: str
    sides: tuple[str, ...] = ()
    rate: str = ""
    factor: str = ""
    source: str = PLACEHOLDER


ELEMENTS: tuple[Element, ...] = (
    Element(LABOUR, "Labour, an hour", 120, "money"),
    Element(OFF_ROAD, "Vehicle off the road, an hour", 50, "money"),
    Element(DRIVER, "Driver waiting, an hour", 40, "money"),
    Element("part", "Pump and seals, where its type has no price", 210, "money", (PLANNED, FAILURE)),
    Element("planned_labour_hours", "Planned change: labour, where the unit has none", 2.5, "hours",
            (PLANNED,), LABOUR),
    Element("planned_downtime_hours", "Planned change: off the road besides the PM", 2, "hours",
            (PLANNED,), OFF_ROAD),
    Element("planned_sundries", "Planned change: fuel handling, gaskets, disposal", 40, "money", (PLANNED,)),
    Element("failure_labour_hours", "After a failure: labour with diagnosis", 4, "hours",
            (FAILURE,), LABOUR, PREMIUM),
    Element(PREMIUM, "After a failure: out-of-hours labour factor", 1.25, "factor"),
    Element("tow", "Tow", 400, "money", (FAILURE,),
            source="placeholder; trade press, late 2019: 1,485 for heavy trucks"),
    Element("road_call", "Road call", 250, "money", (FAILURE,),
            source="placeholder; trade press, early 2020: 491 for heavy trucks"),
    Element("failure_downtime_hours", "After a failure: off the road", 8, "hours", (FAILURE,), OFF_ROAD),
    Element("driver_wait_hours", "After a failure: driver waits (public pages: 2–4 h)", 3, "hours",
            (FAILURE,), DRIVER),
    Element("substitute_vehicle", "Substitute vehicle", 200, "money", (FAILURE,)),
    Element("missed_job", "Missed job or trip", 120, "money", (FAILURE,)),
    Element("secondary_damage", "Secondary damage, on average", 100, "money", (FAILURE,)),
    Element("capture_hours", "A capture at a PM: labour", 0.25, "hours", (CAPTURE,), LABOUR),
    Element("follow_up_hours", "A follow-up test: labour", 0.5, "hours", (FOLLOW_UP,), LABOUR),
    Element("check_tank_closed", "A check with the tank closed: labour", 40, "money", ("check_closed",)),
    Element("check_tank_open", "The same with the tank opened, where the pump stays", 80, "money",
            ("check_open",)),
    Element("extra_stop", "A stop made for the pump alone", 60, "money", ("extra_stop",)),
    Element("part_returned", "A part that goes back unused", 25, "money", ("part_returned",)),
    Element("comeback", "A comeback after a change", 1500, "money", ("comeback",)),
    Element("other_breakdown", "A breakdown for a cause beside the pump", 900, "money", ("other_breakdown",)),
    Element("false_alarm", "A needless replacement, on top of the replacement", 60, "money", (FALSE_ALARM,)),
)  # fmt: skip


def checked(elements: Iterable[Element]) -> dict[str, Element]:
    """Return the elements by name; raises ValueError for one that no sum would count, or two of a name."""
    rows = tuple(elements)
    table = {row.name: row for row in rows}
    multipliers = {name for row in rows for name in (row.rate, row.factor) if name and row.sides}
    for row in rows:
        if row.name in TOTALS or table[row.name] is not row:
            raise ValueError(f"{row.name}: there is another price of that name")
        if not set(row.sides) <= set(SIDES) or not {n for n in (row.rate, row.factor) if n} <= set(table):
            raise ValueError(f"{row.name}: names a sum or a rate that there is not")
        if not row.sides and row.name not in multipliers:
            raise ValueError(f"{row.name}: goes into no sum, so it would never count")
        if row.sides and row.unit != "money" and not row.rate:
            raise ValueError(f"{row.name}: {row.unit} without a rate are no money")
    return table


ELEMENT = checked(ELEMENTS)


def sums(amounts: Mapping[str, float], elements: Mapping[str, Element] = ELEMENT) -> dict[str, float]:
    """Return the sum of each of SIDES, in money; amounts: of every element by name."""
    out = dict.fromkeys(SIDES, 0.0)
    for row in elements.values():
        value = amounts[row.name]
        for name in (row.rate, row.factor):
            value *= amounts[name] if name else 1.0
        for side in row.sides:
            out[side] += value
    return out


def behind(side: str, elements: Mapping[str, Element] = ELEMENT) -> set[str]:
    """Return the names of all elements that a sum rests on, rates and factors with them."""
    rows = [row for row in elements.values() if side in row.sides]
    return {name for row in rows for name in (row.name, row.rate, row.factor) if name}


def unit_of(name: str) -> str:
    """Return "money", "hours" or "factor"."""
    return "money" if name in TOTALS else ELEMENT[name].unit
