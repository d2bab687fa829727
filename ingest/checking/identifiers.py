"""Vehicle identification numbers: check digit (49 CFR 565.15(c), ISO 3779 layout) and near-identical ones.

North American VINs must carry a check digit in place 9; elsewhere it is optional, so there a wrong one only
warns. Letters of the same value (B, K, S and 2) can be exchanged without the digit telling.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping

from ingest.errors import Question
from ingest.wording import questions

# What spreadsheets make of identifiers they take for dates or numbers.
MANGLED = (
    r"(?i)^(?:(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)-\d{1,4}"
    r"|\d{1,2}-(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)(?:-\d{2,4})?"
    r"|\d(?:[.,]\d+)?E[+-]?\d+|#{2,}|#(?:ref|n/a|name\?|value|num|div/0)!?)$"
)
_VALUES = dict(
    zip("0123456789ABCDEFGHJKLMNPRSTUVWXYZ", map(int, "012345678912345678123457923456789"), strict=True)
)
_WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
_MISTAKEN = str.maketrans("IOQ", "100")


def normal_vin(vin: str) -> str:
    """Return the VIN in capitals without blanks and hyphens."""
    return "".join(c for c in vin.upper() if c not in " -\u00a0")


def check_digit(vin: str) -> str | None:
    """Return the check digit ("0" to "9" or "X") the VIN should carry in place 9, or None if it is no VIN.

    The sum of the characters' values times the weights of their places, modulo 11, 10 being written X:
    49 CFR 565.15(c), tables III to V.
    """
    if len(vin) != 17 or any(c not in _VALUES for c in vin[:8] + vin[9:]):
        return None
    remainder = sum(_VALUES.get(c, 0) * w for c, w in zip(vin, _WEIGHTS, strict=True)) % 11
    return "X" if remainder == 10 else str(remainder)


def needs_check_digit(vin: str) -> bool:
    """True where the VIN was issued in North America (first character 1 to 5, or 7F to 70)."""
    return vin[:1] in set("12345") or (vin[:1] == "7" and vin[1:2] in set("FGHJKLMNPRSTUVWXYZ67890"))


def vin_problem(vin: str) -> Question | None:
    """Return what is to be asked about one VIN, or None.

    Codes: vin-malformed, vin-check-digit (to be asked), vin-unchecked (warning: outside North America).
    """
    plain = normal_vin(vin)
    illegal = sorted(set(plain) - set(_VALUES))
    if len(plain) != 17:
        return questions.vin_length(vin, len(plain))
    if illegal:
        meant = plain.translate(_MISTAKEN)
        return questions.vin_letters(vin, illegal, meant if check_digit(meant) == meant[8] else None)
    wanted = check_digit(plain)
    if wanted == plain[8]:
        return None
    if needs_check_digit(plain):
        return questions.vin_check_digit(vin, plain[8], wanted or "another")
    return questions.vin_unchecked(vin)


def similar_vins(vins: Mapping[str, str], among: Iterable[str] | None = None) -> dict[str, str]:
    """Return unit -> another unit whose VIN is the same or one character off.

    vins: unit -> VIN. among: look only at these units (default: all). Two sound check digits, or a difference
    within the serial number (last six places) of two VINs without one, mark two vehicles of one order, not a
    slip: a single wrong character always breaks a check digit, save letters of the same value.
    """
    plain = {unit: normal_vin(vin) for unit, vin in vins.items() if vin and vin.strip()}
    wildcards: dict[str, list[str]] = defaultdict(list)
    for unit, vin in plain.items():
        for i in range(len(vin)):
            wildcards[vin[:i] + "\0" + vin[i + 1 :]].append(unit)
    wanted = set(plain) if among is None else set(among)
    found: dict[str, str] = {}
    for units in wildcards.values():
        if len(units) < 2:
            continue
        for unit in units:
            if unit not in wanted or unit in found:
                continue
            other = next((u for u in units if u != unit and _is_slip(plain[unit], plain[u])), None)
            if other is not None:
                found[unit] = other
    return found


def _is_slip(one: str, other: str) -> bool:
    if one == other:
        return True
    place = next(i for i, (a, b) in enumerate(zip(one, other, strict=True)) if a != b)
    sound = [check_digit(vin) is not None and check_digit(vin) == vin[8] for vin in (one, other)]
    if all(sound):
        return _VALUES.get(one[place]) == _VALUES.get(other[place])
    return needs_check_digit(one) or place < 11


def similar_units(units: Iterable[str]) -> dict[str, list[str]]:
    """Group unit names that differ only in case, leading zeros, punctuation, or O for 0 and I or l for 1.

    Returns unit -> the others like it, for those that have any. They stay distinct units.
    """
    groups: dict[str, list[str]] = defaultdict(list)
    for unit in units:
        groups[unit_key(unit)].append(unit)
    return {
        unit: [u for u in group if u != unit] for group in groups.values() if len(group) > 1 for unit in group
    }


def unit_key(unit: str) -> str:
    """What a unit name comes down to when easily mistaken characters are taken for one another."""
    kept = "".join(c for c in unit.upper() if c.isalnum())
    if any(c.isdigit() for c in kept):
        kept = kept.translate(str.maketrans("OIL", "011"))
    out, in_number = [], False
    for place, c in enumerate(kept):
        starts_number = c.isdigit() and not in_number
        if starts_number and c == "0" and kept[place + 1 : place + 2].isdigit():
            continue  # a leading zero
        in_number = c.isdigit()
        out.append(c)
    return "".join(out)
