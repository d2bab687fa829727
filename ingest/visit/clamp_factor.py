"""By how much a current that no such pump draws was read with a wrong clamp factor or range."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from ingest.capture import Capture, Note
from ingest.trade_numbers import USUAL_A, USUAL_SWING_A
from ingest.wording.file_notes import probe_applied

PROBE_APPLIED = "probe-applied"  # the note of a capture in volts
IN_LINE = math.log(1.5)  # [P] of ln current: so near its level a pump is, whatever it suffers from, mostly
_RIPPLE_A = (USUAL_SWING_A[0] / 4, USUAL_SWING_A[1] * 4)  # [P] no pump that turns has less, or more
_TENFOLD = (0.1, 10.0, 0.01, 100.0, 0.001, 1000.0)  # ranges of a clamp, mV for V, mA for A


def right_times(told: Mapping[str, Any]) -> dict[str, float]:
    """Return what a current may have to be multiplied by, by the kind of answer: "clamp", "factor".

    told: `mean_a`, and where known `level_a` (what the pump draws otherwise), `ripple_a` (peak to peak),
    `v_per_a` (what it was read with) and `clamp_v_per_a` (what its clamp is registered with). Only what
    brings the average and the ripple in line is returned: an offset is no factor.
    """
    out: dict[str, float] = {}
    used, own = told.get("v_per_a"), told.get("clamp_v_per_a")
    if used and own and in_line(told, used / own):
        out["clamp"] = used / own
    tenfold = next((times for times in _TENFOLD if in_line(told, times)), None)
    if tenfold is not None and not any(math.isclose(tenfold, times) for times in out.values()):
        out["factor"] = tenfold
    return out


def in_line(told: Mapping[str, Any], times: float) -> bool:
    """Return whether a pump draws so much, so many times what was read; see `right_times`."""
    mean_a, level_a, ripple_a = told["mean_a"] * times, told.get("level_a"), told.get("ripple_a")
    if ripple_a and not _RIPPLE_A[0] <= ripple_a * times <= _RIPPLE_A[1]:
        return False
    if level_a is None:
        return bool(USUAL_A[0] <= mean_a <= USUAL_A[1])
    return abs(math.log(mean_a / level_a)) < IN_LINE


def factor_used(notes: tuple[Note, ...]) -> float | None:
    """Return the volts per ampere that a capture was read with, by its notes; None: it was in amperes."""
    for note in notes:
        if note.code == PROBE_APPLIED and note.values:
            return float(note.values["v_per_a"])
    return None


def written(v_per_a: float) -> str:
    """Return a factor as it is typed, such as 100mV/A."""
    return f"{1000 * v_per_a:.6g}mV/A"


def scaled(capture: Capture, times: float) -> Capture:
    """Return a capture as it is when read with another factor; its note of the factor says the new one."""
    notes = tuple(
        probe_applied(**{**note.values, "v_per_a": note.values["v_per_a"] / times})
        if note.code == PROBE_APPLIED and note.values
        else note
        for note in capture.notes
    )
    return replace(capture, current_a=capture.current_a * times, notes=notes)
