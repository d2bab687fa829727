"""What a pump's current can't be: too short, above 100 A, a thousand times off its neighbours, negative."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ingest.capture import Note
from ingest.errors import CaptureRefused
from ingest.limits import MIN_RUNNING_SAMPLES
from ingest.only_noise import is_only_noise
from ingest.trade_numbers import HIGHEST_A
from ingest.wording import file_notes

ABSURD_A = 1e9  # whatever the scale may be; sums of such values stay finite
JUDGED = 100_000  # samples at least; whether a record is plausible shows in so many of them
RUNNING_SHARE = 0.1  # of the high level, which may be an inrush of some 5 times; below it the pump is off
MOST_TOGETHER = 8  # rows in a row that a lost decimal point may spoil
LONE_OUTLIER = 300.0  # times the high level; inrush reaches about 5, a lost decimal point about 1,000


def running_samples(values: np.ndarray) -> np.ndarray:
    """Return the samples of magnitude above a tenth of the record's high level; shape (k,).

    Of long records an even choice of the samples is judged.
    """
    values = values[:: max(1, len(values) // JUDGED)]
    finite = values if np.isfinite(values.sum()) else values[np.isfinite(values)]
    if not len(finite):
        return finite
    size = np.abs(finite)
    return finite[size >= RUNNING_SHARE * high_level(size)]


def high_level(size: np.ndarray) -> float:
    """Return the level of |values| that only 15 samples pass: odd spikes don't move it, a short run does.

    Of long records an even choice of the samples is judged.
    """
    if not len(size):
        return 0.0
    thinned = size[:: max(1, len(size) // JUDGED)]
    rank = min(len(thinned), 16)
    return float(np.partition(thinned, len(thinned) - rank)[len(thinned) - rank])


def running_mean(values: np.ndarray) -> float:
    """Return the mean of the running samples, 0 if there are none."""
    running = running_samples(values)
    return float(running.mean()) if len(running) else 0.0


def is_ac_coupled(values: np.ndarray) -> bool:
    """Tell whether the mean is nothing beside the swing: coupling, or a transformer clamp, took it away."""
    thinned = values[:: max(1, len(values) // JUDGED)]
    finite = thinned[np.isfinite(thinned)]
    if len(finite) < 2:
        return False
    swing = float(finite.std())
    return bool(swing > 0 and abs(float(finite.mean())) < 0.1 * swing)


def check_plausible(
    current: np.ndarray,
    row_number: Callable[[int], int],
    *,
    unit_known: bool,
) -> tuple[np.ndarray, list[Note]]:
    """Return the current, turned over if the clamp was reversed, and notes.

    current: (n,), A. Raises CaptureRefused for what no pump can draw, too few samples or a change of unit.
    """
    _refuse_absurd(current, row_number)
    _refuse_jumps(current, row_number)
    running = running_samples(current)
    if len(running) < MIN_RUNNING_SAMPLES:
        raise CaptureRefused(
            "too-short",
            f"only {len(running)} samples of running current; at least {MIN_RUNNING_SAMPLES} "
            "are needed, record a longer stretch.",
        )
    mean = float(running.mean())
    if abs(mean) > HIGHEST_A:
        raise CaptureRefused(
            "above-100-a",
            f"the mean is {abs(mean):,.4g} A, more than any fuel pump draws: "
            "is the probe factor right (--probe), or the unit (mV for V)?",
        )
    notes: list[Note] = []
    if is_ac_coupled(current) and not (unit_known and is_only_noise(current)):
        notes.append(file_notes.ac_coupled(unit_known))
        return current, notes
    if mean < 0 and float(np.quantile(running, 0.98)) < 0:
        notes.append(file_notes.turned_over())
        current = -current
    return current, notes


def _refuse_absurd(current: np.ndarray, row_number: Callable[[int], int]) -> None:
    if max(float(np.nanmax(current)), -float(np.nanmin(current))) <= ABSURD_A:
        return
    row = int(np.flatnonzero(np.abs(current) > ABSURD_A)[0])
    raise CaptureRefused(
        "above-100-a",
        f"row {row_number(row)} holds {current[row]:.3g} A, which is no current at all; "
        "mend that row or export the file again.",
    )


def _refuse_jumps(current: np.ndarray, row_number: Callable[[int], int]) -> None:
    """Refuse values a thousand times off their neighbours: a lost decimal point, or a change of unit."""
    thinned = np.abs(current[:: max(1, len(current) // JUDGED)])
    high = high_level(thinned[np.isfinite(thinned)])
    far = np.empty(0, dtype=int)
    if high > 0 and max(float(np.nanmax(current)), -float(np.nanmin(current))) > LONE_OUTLIER * high:
        far = np.flatnonzero(np.abs(current) > LONE_OUTLIER * high)
    ends = np.flatnonzero(np.diff(far) != 1)
    together = int(ends[0]) + 1 if len(ends) else len(far)
    # a longer stretch is a short run of the pump after a long time off
    if 0 < together <= MOST_TOGETHER:
        times = abs(current[far[0]]) / high
        raise CaptureRefused(
            "thousandfold-jump",
            f"row {row_number(int(far[0]))} is some {times:,.0f} times its neighbours: a lost decimal point "
            "or another unit; mend that row or export again.",
        )
    _refuse_steps(current, row_number)


def _refuse_steps(current: np.ndarray, row_number: Callable[[int], int]) -> None:
    """A lasting step by about 1,000 between two stretches that are equally steady is a change of unit."""
    block = max(16, len(current) // 4_000)
    count = len(current) // block
    if count < 4:
        return
    parts = current[: count * block].reshape(count, block)
    if block > 64:
        parts = parts[:, :: block // 16]
    mean = np.abs(parts.mean(axis=1))
    steady = parts.std(axis=1) < 0.5 * mean
    with np.errstate(divide="ignore", invalid="ignore"):
        # two blocks apart, so that the block holding the step doesn't matter
        ratio = mean[2:] / mean[:-2]
        ratio = np.where(ratio < 1, 1 / ratio, ratio)
        jump = (ratio > 700) & (ratio < 1400) & steady[2:] & steady[:-2]
    if not jump.any():
        return
    start = int(np.flatnonzero(jump)[0]) * block
    first = int(np.flatnonzero(jump)[0])
    times = "1,000 times" if mean[first + 2] > mean[first] else "a thousandth of"
    near = np.abs(current[start : start + 3 * block])
    row = row_number(start + _step_in(near))
    raise CaptureRefused(
        "thousandfold-jump",
        f"from row {row} on the values are about {times} those before: the unit changes there; "
        "export the file with one unit.",
    )


def _step_in(size: np.ndarray) -> int:
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.abs(np.log10(size[1:] / size[:-1]))
    ratio = np.where(np.isfinite(ratio), ratio, 0)
    return int(np.argmax(ratio)) + 1 if len(ratio) else 0
