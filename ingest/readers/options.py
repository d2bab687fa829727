"""What a person may say about a capture, and how it is spelled: probe, full scale, sample rate."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from ingest.errors import EntryRefused

_NUMBER = r"([+]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d+)?)"
_PREFIX = {"": 1.0, "m": 1e-3, "µ": 1e-6, "u": 1e-6, "k": 1e3, "K": 1e3, "M": 1e6, "G": 1e9}

# wider than any instrument's, so that only a slip is refused
_RANGES = {
    "sample rate": (1e-3, 1e12, "0.001 S/s to 1,000 GS/s"),
    "probe": (1e-6, 1e4, "0.001 mV/A to 10,000 V/A"),
    "full scale": (1e-3, 1e5, "0.001 A to 100,000 A"),
}


@dataclass(frozen=True)
class Options:
    """Answers given beside the file; None where nothing was said."""

    channel: str | None = None
    probe_v_per_a: float | None = None
    sample_rate_hz: float | None = None
    full_scale_a: float | None = None
    record: int | None = None


def parse_options(
    channel: str | int | None = None,
    probe: str | float | None = None,
    sample_rate_hz: str | float | None = None,
    full_scale: str | float | None = None,
    record: str | int | None = None,
) -> Options:
    """Return the options with every number understood; raises EntryRefused naming the option."""
    return Options(
        channel=None if channel is None or str(channel).strip() == "" else str(channel).strip(),
        probe_v_per_a=None if probe is None else parse_probe(probe),
        sample_rate_hz=None if sample_rate_hz is None else parse_rate(sample_rate_hz),
        full_scale_a=None if full_scale is None else parse_full_scale(full_scale),
        record=None if record is None else parse_record(record),
    )


def parse_probe(text: str | float) -> float:
    """Return a clamp's output in volts per ampere: "100mV/A" is 0.1, "1 V/A" is 1, a number is V/A.

    Raises EntryRefused for anything else.
    """
    if not isinstance(text, str):
        return _positive(float(text), text, "probe", "100mV/A")
    match = re.fullmatch(rf"{_NUMBER}\s*([mµμu]?)V\s*(?:/|per)\s*([m]?)A", text.strip(), re.IGNORECASE)
    if match:
        # a capital M can only mean milli here: no clamp gives megavolts
        per_amp = _number(match[1]) * _PREFIX[match[2].lower().replace("μ", "µ")]
        return _positive(per_amp / _PREFIX[match[3].lower()], text, "probe", "100mV/A")
    inverse = re.fullmatch(rf"{_NUMBER}\s*A\s*(?:/|per)\s*(m?)V", text.strip(), re.IGNORECASE)
    if inverse:
        amps = _positive(_number(inverse[1]), text, "probe", "100mV/A")
        return _PREFIX[inverse[2].lower()] / amps
    raise EntryRefused(
        "not-a-probe",
        f"probe: '{text}' is not a clamp's output; write it like 100mV/A, 10mV/A or 1V/A.",
    )


def parse_full_scale(text: str | float) -> float:
    """Return the amperes at full scale of an audio file: "10A" is 10, "500 mA" is 0.5, a number is A.

    Raises EntryRefused for anything else.
    """
    if not isinstance(text, str):
        return _positive(float(text), text, "full scale", "10A")
    match = re.fullmatch(rf"{_NUMBER}\s*(m?)(?:A|amps?|amperes?)?", text.strip(), re.IGNORECASE)
    if match:
        return _positive(_number(match[1]) * _PREFIX[match[2].lower()], text, "full scale", "10A")
    raise EntryRefused("not-a-full-scale", f"full scale: '{text}' is not a current; write it like 10A.")


def parse_rate(text: str | float) -> float:
    """Return samples a second: "100 kS/s", "100 kHz", "1 MSa/s" and "100000" all name a rate.

    Raises EntryRefused for anything else.
    """
    if not isinstance(text, str):
        return _positive(float(text), text, "sample rate", "100 kS/s")
    match = re.fullmatch(
        rf"{_NUMBER}\s*([kKMG]?)"
        r"(?i:\s*(?:Sa?|Samples?|Pts?|points?)?\s*(?:/\s*s(?:ec|econd)?|Hz|ps|per second)|)",
        text.strip(),
    )
    if match:
        return _positive(_number(match[1]) * _PREFIX[match[2]], text, "sample rate", "100 kS/s")
    raise EntryRefused(
        "not-a-rate", f"sample rate: '{text}' is not a rate; write it like 100 kS/s, 50 kHz or 100000."
    )


def parse_record(value: str | int) -> int:
    """Return the number of a record in a segmented file, counted from 1; else EntryRefused."""
    text = str(value).strip()
    if not re.fullmatch(r"\d{1,9}", text) or int(text) < 1:
        raise EntryRefused("not-a-record", f"record: '{value}' is not a record number; count from 1.")
    return int(text)


def _number(text: str) -> float:
    return float(text.replace(",", "."))


def _positive(value: float, text: object, field: str, example: str) -> float:
    if not (math.isfinite(value) and value > 0):
        raise EntryRefused(
            "not-positive",
            f"{field}: '{text}' must be more than zero; write it like {example}.",
        )
    low, high, between = _RANGES[field]
    if not low <= value <= high:
        raise EntryRefused(
            "out-of-range",
            f"{field}: '{text}' is outside {between}, which hold every one there is; "
            f"write it like {example}.",
        )
    return value
