"""Quantities with units: what a person types ("88412 mi", "58 psi", "25C") into the units the ledger keeps.

Kept units: distance km, pressure kPa, temperature °C, flow L/min, voltage V, current A.
Factors are exact by definition (international mile and pound, US gallon): NIST SP 811, appendix B.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from typing import Literal, TypeVar

import numpy as np

from ingest.errors import EntryRefused

Kind = Literal["distance", "pressure", "temperature", "flow", "voltage", "current"]
FloatOrArray = TypeVar("FloatOrArray", float, np.ndarray)

KM_PER_MILE = 1.609344
KPA_PER_PSI = 0.45359237 * 9.80665 / 0.0254**2 / 1000
LITRES_PER_GALLON = 3.785411784


@dataclass(frozen=True)
class Unit:
    """kept value = entered value * factor + offset; `digits` is how many decimals to show."""

    name: str
    kind: Kind
    factor: float
    offset: float
    digits: int
    spellings: tuple[str, ...]


UNITS: dict[str, Unit] = {
    unit.name: unit
    for unit in (
        Unit("km", "distance", 1, 0, 0, ("kms", "kilometre", "kilometres", "kilometer", "kilometers")),
        Unit("mi", "distance", KM_PER_MILE, 0, 0, ("mile", "miles")),
        Unit("kPa", "pressure", 1, 0, 0, ()),
        Unit("psi", "pressure", KPA_PER_PSI, 0, 1, ("psig", "lbf/in2")),
        Unit("bar", "pressure", 100, 0, 2, ("bars",)),
        Unit("°C", "temperature", 1, 0, 0, ("c", "degc", "celsius", "degreesc")),
        Unit("°F", "temperature", 5 / 9, -160 / 9, 0, ("f", "degf", "fahrenheit", "degreesf")),
        Unit("L/min", "flow", 1, 0, 2, ("lpm",)),
        Unit("L/h", "flow", 1 / 60, 0, 0, ("lph", "l/hr")),
        Unit("mL/min", "flow", 1 / 1000, 0, 0, ()),
        Unit("gal/h", "flow", LITRES_PER_GALLON / 60, 0, 1, ("gph", "usgal/h", "gal/hr")),
        Unit("gal/min", "flow", LITRES_PER_GALLON, 0, 3, ("gpm", "usgal/min")),
        Unit("V", "voltage", 1, 0, 2, ("volt", "volts")),
        Unit("mV", "voltage", 1 / 1000, 0, 0, ()),
        Unit("A", "current", 1, 0, 2, ("amp", "amps", "ampere", "amperes")),
        Unit("mA", "current", 1 / 1000, 0, 0, ()),
    )
}
_BY_SPELLING = {s.lower(): unit for unit in UNITS.values() for s in (unit.name, *unit.spellings)}
_NUMBER = re.compile(r"[+-]?(\d[\d.,' \u00a0\u202f]*|[.,]\d+)")
_RAISED = re.compile(r"\s*[-+−]?[\d.,'\s]*[⁰¹²³⁴-⁹₀-₉]")  # 10² is neither 102 nor sure to be 100


@dataclass(frozen=True)
class Quantity:
    """One entry: `value` in the kept unit, with the number and unit as they were entered."""

    value: float
    entered: float
    unit: str


def parse_quantity(text: str, kind: Kind, *, default_unit: str | None = None, field: str = "") -> float:
    """Return the quantity in `text` in the kept unit of `kind` (km, kPa, °C, L/min, V, A).

    A bare number is taken only where `default_unit` says what it means. `field` names the entry in the
    sentence of the EntryRefused that anything unreadable, or of another kind, raises.
    """
    return read_quantity(text, kind, default_unit=default_unit, field=field).value


def read_quantity(text: str, kind: Kind, *, default_unit: str | None = None, field: str = "") -> Quantity:
    """Like `parse_quantity`, keeping the number and unit as entered; EntryRefused alike."""
    label = field or kind
    plain = unicodedata.normalize("NFKC", str(text)).replace("−", "-").strip()
    match = _NUMBER.match(plain)
    if not match or _RAISED.match(str(text)):
        raise EntryRefused(
            "not-a-quantity", f"{label}: '{text}' is not a number with a unit, {_such_as(kind)}."
        )
    spelling = plain[match.end() :].strip()
    if not spelling:
        if default_unit is None:
            raise EntryRefused(
                "unit-missing", f"{label}: '{text}' has no unit; write it with one, {_such_as(kind)}."
            )
        spelling = default_unit
    unit = find_unit(spelling)
    if unit is None or unit.kind != kind:
        raise EntryRefused(
            "unknown-unit",
            f"{label}: '{spelling}' is not a unit of {kind}; use {', '.join(unit_names(kind))}.",
        )
    number = parse_number(
        match.group(0).strip(),
        field=label,
        whole_thousands=kind == "distance",
        thousandths="." if unit.name == "mA" else _THOUSANDTHS.get(kind, ""),
    )
    return Quantity(to_kept(number, unit.name), number, unit.name)


# Marks that three digits may follow as decimals: no pump draws 4,433 A or is fed 4,433 V.
_THOUSANDTHS = {"current": ".,", "voltage": ".", "pressure": ".", "flow": ".", "temperature": "."}


def parse_number(
    text: str, *, field: str = "number", whole_thousands: bool = False, thousandths: str = ""
) -> float:
    """Return the number in `text`, with decimal point or comma and optional thousands separators.

    One separator with exactly three digits after it ("1,234") can mean two things and is refused,
    unless `whole_thousands` says such numbers have no thousandths (odometers: "88,412" is 88412), or
    `thousandths` names its mark as one of decimals (a meter's "4.433").
    EntryRefused for text that is no number.
    """
    digits = re.sub(r"[' \u00a0\u202f]", "", text)
    marks = re.findall(r"[.,]", digits)
    if len(set(marks)) == 2:  # the last one is the decimal mark: 1,234.5 or 1.234,5
        thousands, decimal = ("," if digits.rindex(",") < digits.rindex(".") else "."), marks[-1]
        grouped = digits.rsplit(decimal, 1)[0]
        well_formed = marks.count(decimal) == 1 and re.fullmatch(
            rf"[+-]?\d{{1,3}}(\{thousands}\d{{3}})+", grouped
        )
        digits = digits.replace(thousands, "").replace(decimal, ".")
    elif len(marks) > 1:
        well_formed = re.fullmatch(rf"[+-]?\d{{1,3}}(\{marks[0]}\d{{3}})+", digits)
        digits = digits.replace(marks[0], "")
    elif marks and re.fullmatch(r"[+-]?[1-9]\d{0,2}[.,]\d{3}", digits):
        if marks[0] in thousandths:
            return float(digits.replace(",", "."))
        if not (whole_thousands and marks[0] == ","):
            whole, part = re.split(r"[.,]", digits)
            raise EntryRefused(
                "ambiguous-number",
                f"{field}: '{text}' can mean {whole}{part} or {whole}.{part}; leave the thousands mark out.",
            )
        well_formed = re.fullmatch(r"[+-]?\d+", digits.replace(",", ""))
        digits = digits.replace(",", "")
    else:
        digits = digits.replace(",", ".")
        well_formed = re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)", digits)
    if not well_formed:
        raise EntryRefused("not-a-number", f"{field}: '{text}' is not a number; write it like 88412 or 1.25.")
    return float(digits)


def find_unit(spelling: str) -> Unit | None:
    """Return the unit a person's spelling means (case, blanks and degree signs ignored), or None."""
    plain = unicodedata.normalize("NFKC", spelling).strip()
    key = re.sub(r"[\s°º˚.]", "", plain).lower().replace("liters", "l").replace("litres", "l")
    return UNITS.get(plain) or _BY_SPELLING.get(key) or _BY_SPELLING.get("°" + key)


def unit_names(kind: Kind) -> list[str]:
    """Return the names of all units of `kind`, the kept one first."""
    return [unit.name for unit in UNITS.values() if unit.kind == kind]


def to_kept(value: FloatOrArray, unit: str) -> FloatOrArray:
    """Turn a number, or an array of them, in `unit` into the kept unit of its kind."""
    return value * UNITS[unit].factor + UNITS[unit].offset


def from_kept(value: FloatOrArray, unit: str) -> FloatOrArray:
    """Turn a number, or an array of them, in the kept unit into `unit`."""
    return (value - UNITS[unit].offset) / UNITS[unit].factor


def format_quantity(value: float | None, unit: str, *, digits: int | None = None) -> str:
    """Write a kept value in `unit` for a person, "88,412 mi"; an unknown value is "–"."""
    if value is None or value != value:
        return "–"
    shown = from_kept(float(value), unit)
    text = f"{shown:,.{UNITS[unit].digits if digits is None else digits}f}"
    if not float(text.replace(",", "")):
        text = text.lstrip("-")
    return f"{text} {unit}"


def _such_as(kind: Kind) -> str:
    examples = {
        "distance": "such as '88412 mi' or '142000 km'",
        "pressure": "such as '58 psi', '4 bar' or '400 kPa'",
        "temperature": "such as '25C' or '77 °F'",
        "flow": "such as '1.2 L/min' or '20 gal/h'",
        "voltage": "such as '13.4 V'",
        "current": "such as '5.1 A'",
    }
    return examples[kind]
