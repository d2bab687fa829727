"""The sentences in which a doubtful odometer is asked about.

Each has the value, what it may have been meant for, and leaves it to a person's reason. Arguments: km, the
reading; likely_km, what a slip would make of it; last_km, the unit's last; unit, what it was entered in; own,
the fleet's unit, where that is another; other_unit, the vehicle whose odometer stood there then.
"""

from __future__ import annotations

from collections.abc import Callable

from ingest.errors import Question
from ingest.units import UNITS, format_quantity
from ingest.wording.sentence import question


@question("odometer-kilometres", "odometer")
def in_kilometres(
    km: float, likely_km: float, last_km: float | None, unit: str, own: str | None, other_unit: str | None
) -> str:
    """Kilometres where miles are kept, or miles made kilometres twice."""
    value, likely = _value(km, last_km, unit), format_quantity(likely_km, unit)
    if unit == "mi":
        read = f"{value}: was {_number(km, unit)} read in kilometres?"
        said = f"{read} That would be {likely}, as this unit drives."
    else:
        said = f"{value} is 1.609 times what this unit drives to: is it {likely}, converted twice?"
    return said + _beside(km, last_km, own, other_unit)


@question("odometer-miles", "odometer")
def in_miles(
    km: float, likely_km: float, last_km: float | None, unit: str, own: str | None, other_unit: str | None
) -> str:
    """Miles where kilometres are kept, or kilometres made miles twice."""
    value, likely = _value(km, last_km, unit), format_quantity(likely_km, unit)
    if unit == "km":
        said = f"{value}: was {_number(km, unit)} read in miles? That would be {likely}, as this unit drives."
    else:
        said = f"{value} is what {likely} would be divided by 1.609: was it converted twice?"
    return said + _beside(km, last_km, own, other_unit)


@question("odometer-digit", "odometer")
def digit_slip(
    km: float, likely_km: float, last_km: float | None, unit: str, own: str | None, other_unit: str | None
) -> str:
    """A digit more or less, or two swapped."""
    likely = format_quantity(likely_km, unit)
    return (
        f"{_value(km, last_km, unit)}: a digit too many, too few, or swapped? {likely} would be as this unit"
        " drives." + _beside(km, last_km, own, other_unit)
    )


@question("odometer-below-last", "odometer")
def below_last(
    km: float,
    last_km: float | None,
    unit: str,
    own: str | None,
    other_unit: str | None,
) -> str:
    """Less than before, and no slip explains it."""
    last = _last(last_km, unit)
    return (
        f"Odometer {format_quantity(km, unit)} is below the unit's last reading{last}; mistyped, another"
        " unit, or a new cluster?" + _beside(km, last_km, own, other_unit)
    )


@question("odometer-restarted", "odometer")
def restarted(
    km: float,
    last_km: float | None,
    unit: str,
    own: str | None,
    other_unit: str | None,
) -> str:
    """Readings that start anew."""
    value = format_quantity(km, unit)
    asked = f"Odometer {value}: the readings start anew here; was the instrument cluster replaced?"
    return asked + _beside(km, last_km, own, other_unit)


@question("odometer-too-far", "odometer")
def too_far(
    km: float,
    last_km: float | None,
    unit: str,
    own: str | None,
    other_unit: str | None,
) -> str:
    """Farther than the unit drives."""
    return (
        f"{_value(km, last_km, unit)} is much farther than this unit drives in that time; mistyped, or"
        " another unit?" + _beside(km, last_km, own, other_unit)
    )


_SLIPS: dict[str, Callable[..., Question]] = {
    "odometer-kilometres": in_kilometres,
    "odometer-miles": in_miles,
    "odometer-digit": digit_slip,
}
_OTHERS: dict[str, Callable[..., Question]] = {
    "odometer-below-last": below_last,
    "odometer-restarted": restarted,
}


def odometer_question(
    code: str,
    km: float,
    likely_km: float,
    unit: str,
    *,
    last_km: float | None = None,
    own: str | None = None,
    other_unit: str | None = None,
) -> Question:
    """Return the question for a reading doubted as `code` says; likely_km: NaN where it can't be told."""
    if code in _SLIPS:
        return _SLIPS[code](km, likely_km, last_km, unit, own, other_unit)
    return _OTHERS.get(code, too_far)(km, last_km, unit, own, other_unit)


def _value(km: float, last_km: float | None, unit: str) -> str:
    return f"Odometer {format_quantity(km, unit)}{_last(last_km, unit)}"


def _last(last_km: float | None, unit: str) -> str:
    return "" if last_km is None else f" (last: {format_quantity(last_km, unit)})"


def _number(km: float, unit: str) -> str:
    return f"{km / UNITS[unit].factor:,.0f}"


def _beside(km: float, last_km: float | None, own: str | None, other_unit: str | None) -> str:
    said = ""
    if own is not None:
        last = "" if last_km is None else f", the last {format_quantity(last_km, own)}"
        said = f" (In {own}: {format_quantity(km, own)}{last}.)"
    if other_unit is not None:
        said += f" Unit {other_unit} was at this reading then, with such a current."
    return said
