"""What one cell of a text file is: a number, a gap, an overflow mark, a clock time or words."""

from __future__ import annotations

import re

NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,4})?")
NUMBER_COMMA = re.compile(r"[+-]?(?:\d+,?\d*|,\d+)(?:[eE][+-]?\d{1,4})?")
CLOCK = re.compile(
    r"(?:\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}[T ,]?\s*)?\d{1,2}:\d{2}(?::\d{2}(?:[.,:]\d+)?|[.,]\d+)?"
    r"\s*(?:[AaPp][Mm]|Z|[+-]\d{2}:?\d{2})?"
)
DATE = re.compile(r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}")
GAPS = frozenset(
    {"", "nan", "-nan", "+nan", "na", "n/a", "#n/a", "null", "none", "-", "--", "---", "----", "-----", "?"}
    | {"1.#ind", "-1.#ind", "1.#qnan", "-1.#qnan", "nan(ind)", "-nan(ind)", "#value!"}
)
OVERFLOWS = frozenset(
    {"∞", "-∞", "+∞", "−∞", "inf", "-inf", "+inf", "infinity", "-infinity", "+infinity", "1.#inf", "-1.#inf"}
    | {"ol", "-ol", "+ol", "o.l", "ovr", "over", "overload", "overflow", "ovld", "ovfl", "clip", "clipped"}
    | {"*" * n for n in range(1, 13)}
    | {"#" * n for n in range(2, 13)}
)
SENTINEL = 9.9e36  # IEEE 488.2 prints 9.9E37 for infinity and 9.91E37 for not-a-number


def kind_of(cell: str, decimal: str = ".") -> str:
    """Return "number", "gap", "overflow", "clock", "date" or "text" for a stripped cell."""
    if (NUMBER_COMMA if decimal == "," else NUMBER).fullmatch(cell):
        return "number"
    lowered = cell.lower()
    if lowered in GAPS:
        return "gap"
    if lowered in OVERFLOWS:
        return "overflow"
    if ":" in cell and CLOCK.fullmatch(cell):
        return "clock"
    return "date" if DATE.fullmatch(cell) else "text"


def resolution_of(cell: str, decimal: str = ".") -> float:
    """Return the size of one step of the last printed digit: "1.20E-3" gives 1e-5; 0 if not a number."""
    if not (NUMBER_COMMA if decimal == "," else NUMBER).fullmatch(cell):
        return 0.0
    mantissa, _, exponent = cell.lower().partition("e")
    decimals = len(mantissa.partition(decimal)[2])
    return 10.0 ** (max(-300, min(300, int(exponent or 0) - decimals)))
