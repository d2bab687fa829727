"""Units as capture files print them, and how to find one inside a header cell."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass


@dataclass(frozen=True)
class SignalUnit:
    """`value in base unit = printed value * factor`; base units are s, A, V, Hz."""

    symbol: str
    kind: str
    factor: float


_PREFIXES = {"p": 1e-12, "n": 1e-9, "µ": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3}
UNITS: dict[str, SignalUnit] = {}
for _base, _kind, _prefixes in (
    ("s", "time", "pnµm"),
    ("A", "current", "nµmk"),
    ("V", "voltage", "nµmk"),
    ("Hz", "frequency", "k"),
):
    for _prefix in (*_prefixes, ""):
        UNITS[_prefix + _base] = SignalUnit(_prefix + _base, _kind, _PREFIXES[_prefix])
UNITS |= {
    "min": SignalUnit("min", "time", 60.0),
    "h": SignalUnit("h", "time", 3600.0),
    "MHz": SignalUnit("MHz", "frequency", 1e6),
    "GHz": SignalUnit("GHz", "frequency", 1e9),
    "code": SignalUnit("code", "code", 1.0),
}
for _symbol in ("dB", "dBV", "dBm", "dBu", "dBµV", "dBA"):
    UNITS[_symbol] = SignalUnit(_symbol, "level", 1.0)
_OTHERS = (
    "m mm cm km m/s m/s² g N Nm kg Pa kPa bar mbar psi °C °F K rad rad/s ° % rpm 1/min W kW VA J Ω kΩ F H T "
    "lx L L/min V² A² V/A"
)
for _symbol in _OTHERS.split():
    UNITS[_symbol] = SignalUnit(_symbol, "other", 1.0)

_WORDS = {
    "s": "s sec secs second seconds sekunde sekunden seconde secondes segundo segundos secondi с сек 秒",
    "ms": "ms мс msec millisec millisecond milliseconds millisekunden",
    "µs": "us мкс usec microsec microsecond microseconds mikrosekunden",
    "ns": "ns nsec nanosecond nanoseconds",
    "ps": "ps psec picosecond picoseconds",
    "A": "a amp amps ampere amperes ampère ampères amperios ampér а",
    "mA": "mamp mamps ma ма milliamp milliamps milliampere milliamperes",
    "µA": "ua uamp uamps microamp microamps",
    "V": "v volt volts voltios volty в",
    "mV": "mv мв millivolt millivolts",
    "µV": "uv microvolt microvolts",
    "Hz": "hz hertz",
    "dB": "db decibel decibels",
    "dBm": "dbm",
    "dBV": "dbv",
    "code": "code codes count counts adc lsb raw digit digits dn adu",
    "min": "min minute minutes minuten",
    "h": "h hr hrs hour hours",
    "°C": "°c degc celsius grad",
    "%": "% pct percent prozent",
    "rpm": "rpm u/min tr/min 1/min",
    "Ω": "ohm ohms",
    "rad": "rad radian radians",
    "m": "m meter metre",
    "W": "w watt watts",
}
_BY_WORD = {word: symbol for symbol, words in _WORDS.items() for word in words.split()}
_FOLDED = str.maketrans({"μ": "µ", "Ω": "Ω", "º": "°", "˚": "°"})  # Greek mu, ohm sign, look-alikes


def find_signal_unit(text: str) -> SignalUnit | None:
    """Return the unit that `text` alone spells, or None.

    Case tells mV from MV; where only the wrong case is left ("S", "VOLT", "MS") case is ignored,
    except that a capital M before A or V is never read as milli.
    """
    plain = unicodedata.normalize("NFC", text).translate(_FOLDED).strip(" \t()[]{}<>`'\"/:")
    if not plain or len(plain) > 16:
        return None
    exact = UNITS.get(plain) or UNITS.get(plain.replace("u", "µ", 1))
    if exact:
        return exact
    if plain in ("MA", "MV"):
        return None
    symbol = _BY_WORD.get(plain.lower()) or _BY_WORD.get(plain.lower().replace("µ", "u"))
    return UNITS[symbol] if symbol else None


_BRACKETED = re.compile(r"^(.*?)\s*[\(\[\{<]\s*([^\(\)\[\]\{\}<>]*?)\s*[\)\]\}>]\s*$")
_IN = re.compile(r"^(.*?)(?:^|\s+)in\s+(\S+)$", re.IGNORECASE)
_MARKED = re.compile(r"^(.*?)\s*[`/,:|]\s*(\S+)$")
_SUFFIX = re.compile(r"^(.*)[_\s]+([^_\s]+)$")
# a lone letter after a blank or underscore is a unit only where it can't be a name: "CH A", "phase_a"
_LONE = re.compile(r"(?i)\b(ch|channel|kanal|canal|voie|phase|probe|input|trace|source|ai|in|l)$")


def split_name_unit(cell: str) -> tuple[str, SignalUnit | None, str]:
    """Split a header cell into name, unit and the unit as printed.

    Understands "CH1 (V)", "I [mA]", "t / s", "Ch 00`V", "C1 in V", "current_A", "Time ms", "in s", "V".
    """
    text = " ".join(unicodedata.normalize("NFC", cell).replace("\x00", "").strip(" \t\"'").split())
    if match := _BRACKETED.match(text):
        return match[1].strip(), find_signal_unit(match[2]), match[2]
    for pattern in (_IN, _MARKED):
        if (match := pattern.match(text)) and (unit := find_signal_unit(match[2])):
            return match[1].strip(), unit, match[2]
    match = _SUFFIX.match(text)
    if match and (unit := find_signal_unit(match[2])) and not _LONE.search(match[1]):
        printed = match[2]
        # words such as "raw" or "min" after a name are names, not units
        if unit.kind not in ("other", "code") and printed.lower() not in ("min", "h"):
            return match[1].strip(), unit, printed
        if unit.kind == "other" and ("_" in text or printed in ("%", "°C", "rpm")):
            return match[1].strip(), unit, printed
    if (unit := find_signal_unit(text)) and text not in ("t", "h", "H", "T", "F", "J", "K", "L", "N", "g"):
        return "", unit, text
    return text, None, ""
