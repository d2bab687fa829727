"""Find the part of a record in which the pump runs steadily, and the off level beside it.

Blocks of about a millisecond are compared by mean level and scatter: an off stretch lies low and quiet, an
inrush lies high and decays. Whatever is left at the end is the settled run.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ingest.accuracy import rounding_se_a

BLOCK_S = 0.001
OFF_SHARE = 0.35  # an off level lies below this share of the running level
OFF_QUIET = 1.2  # and its scatter is no more than this share of the running scatter
SETTLED_PCT = 5.0  # settling time: within this of the steady level, as in step responses generally
MIN_OFF_BLOCKS = 3
# An off level above this share of the running level is none where so many blocks of the run lie as low and
# quiet: a current that comes in pulses, as under an open coil, pauses so.
OFF_BEYOND_DOUBT, PAUSES = 0.1, 3
# Share of the difference between off levels after and before a run that goes into the error: the mean of a
# run over which the zero drifts evenly lies half of it off, and not at all off where the core keeps it (root
# mean square of both).
KEPT_SHARE = 8**-0.5


@dataclass(frozen=True)
class Run:
    """The settled run of a record.

    start, stop: sample indices of the settled run. sign: -1 when the trace is upside down.
    zero_a, zero_se_a: the off level and its standard error, None without an off stretch; the trace itself
    is not yet corrected. inrush_peak_a is relative to zero_a; settling_s runs from switch-on.
    """

    start: int
    stop: int
    sign: int
    zero_a: float | None
    zero_se_a: float | None
    inrush_peak_a: float | None
    settling_s: float | None


def find_run(current_a: np.ndarray, sample_rate_hz: float) -> Run:
    """Split a record of shape (n,), finite, into off stretch, inrush and settled run."""
    n = len(current_a)
    size = max(int(min(BLOCK_S * sample_rate_hz, n / 20)), 1)
    blocks = n // size
    cut = current_a[: blocks * size].reshape(blocks, size)
    level = cut.mean(axis=1)
    scatter = cut.std(axis=1) if size > 1 else np.abs(np.diff(level, append=level[-1]))
    sign = -1 if _typical(level) < 0 else 1
    level = level * sign

    off = _off_blocks(level, scatter)
    first, last = _longest_stretch(~off)
    zero_a = zero_se_a = None
    if off.any():
        zero_a, zero_se_a = _zero(cut, off, sign, first)

    seen_start = first > 0 or level[0] < 0.5 * np.median(level[first:last])
    settled, peak_block = _settled_block(level[first:last], max(round(0.008 * sample_rate_hz / size), 1))
    peak_a = settling_s = None
    skip = settled
    if settled > 0:
        if seen_start:
            settling_s = _settling_s(current_a, sign, first, settled, size, sample_rate_hz)
            if peak_block is not None:
                head = sign * current_a[first * size : (first + settled) * size]
                peak_a = float(np.max(head) - (zero_a or 0.0))
        # Speed settles with the current: leave as much again, while there is enough record.
        skip = settled + min(settled + 1, (last - first - settled) // 3)
    start = (first + skip) * size
    if first == 0 and skip == 0:
        start = 0
    elif skip == 0:
        start += size
    stop = n if last == blocks else max((last - 1) * size, start)
    return Run(start, stop, sign, zero_a, zero_se_a, peak_a, settling_s)


def _typical(level: np.ndarray) -> float:
    """Return the level in use: the block level of larger size among the quartiles."""
    low, high = np.quantile(level, [0.1, 0.9])
    return float(low if abs(low) > abs(high) else high)


def _off_blocks(level: np.ndarray, scatter: np.ndarray) -> np.ndarray:
    """Mark blocks without current: low, quiet, and several of them side by side."""
    none = np.zeros(len(level), dtype=bool)
    low, high = np.min(level), np.quantile(level, 0.75)
    upper = level > 0.5 * (low + high)
    if not upper.any():
        return none
    high = float(np.median(level[upper]))
    if high <= 0 or low > OFF_SHARE * high:
        return none
    running_scatter = float(np.median(scatter[upper]))
    off = (level < low + 0.15 * (high - low)) & (scatter <= max(OFF_QUIET * running_scatter, 1e-12))
    paused = np.zeros(len(level), dtype=bool)
    edges = np.flatnonzero(np.diff(off.astype(np.int8), prepend=0, append=0)).reshape(-1, 2)
    for begin, end in edges:
        at_end = begin == 0 or end == len(off)
        if end - begin < (MIN_OFF_BLOCKS if at_end else 50):
            off[begin:end], paused[begin:end] = False, True
    doubtful = off.any() and float(np.median(level[off])) > OFF_BEYOND_DOUBT * high
    return none if doubtful and np.count_nonzero(paused) >= PAUSES else off


def _longest_stretch(running: np.ndarray) -> tuple[int, int]:
    edges = np.flatnonzero(np.diff(running.astype(np.int8), prepend=0, append=0)).reshape(-1, 2)
    begin, end = edges[np.argmax(edges[:, 1] - edges[:, 0])]
    return int(begin), int(end)


def _zero(cut: np.ndarray, off: np.ndarray, sign: int, first: int) -> tuple[float, float]:
    """The level before the run, which begins with block `first`, else that after it, and standard error.

    After a run a clamp's core keeps something of the current.
    """
    before = off & (np.arange(len(off)) < first)
    if not before.any():
        return _off_level(cut, off, sign)
    level, se = _off_level(cut, before, sign)
    after = off & ~before
    apart = _off_level(cut, after, sign)[0] - level if after.any() else 0.0
    return level, float(np.hypot(se, KEPT_SHARE * apart))


def _off_level(cut: np.ndarray, off: np.ndarray, sign: int) -> tuple[float, float]:
    """Level and standard error over the off blocks, without those that touch a switching edge."""
    core = off.copy()
    core[1:] &= off[:-1]
    core[:-1] &= off[1:]
    samples = cut[core if core.any() else off].ravel() * sign
    middle = np.median(samples)
    spread = 1.4826 * np.median(np.abs(samples - middle))
    kept = samples[np.abs(samples - middle) <= 5 * spread] if spread > 0 else samples
    # Noise of less than a code does not average the rounding error away; a quiet range may show one code.
    codes = np.unique(samples if np.ptp(samples) > 0 else cut[:: max(cut.size // 50_000, 1)])
    step = float(np.min(np.diff(codes))) if len(codes) > 1 else 0.0
    rounding = rounding_se_a(step, float(np.std(kept)), np.zeros(1))
    return float(np.mean(kept)), float(np.hypot(np.std(kept) / np.sqrt(len(kept)), rounding))


def _settled_block(level: np.ndarray, smooth: int) -> tuple[int, int | None]:
    """Return the first settled block of a running stretch and the block of its peak, if it overshoots."""
    if len(level) < 8:
        return 0, None
    width = int(min(smooth, max(len(level) // 10, 1)))
    kernel = np.ones(width) / width
    padded = np.pad(level, (width // 2, width - 1 - width // 2), mode="edge")
    smoothed = np.convolve(padded, kernel, mode="valid")
    tail = smoothed[len(level) // 2 :]
    final = np.median(tail)
    wobble = 1.4826 * np.median(np.abs(tail - final))
    band = max(SETTLED_PCT / 100 * final, 4 * wobble)
    outside = np.flatnonzero(np.abs(smoothed[: len(level) // 2 + 1] - final) > band)
    if not len(outside):
        return 0, None
    head = smoothed[: outside[-1] + 1]
    # Only a start decays from the beginning of the stretch; a lone excursion later is wander.
    if abs(level[0] - final) <= band and abs(head[0] - final) <= band:
        return 0, None
    peak = int(np.argmax(level[: outside[-1] + 1]))
    return int(outside[-1]) + 1, peak if level[peak] > 1.25 * final else None


def _settling_s(
    current_a: np.ndarray, sign: int, first: int, settled: int, size: int, sample_rate_hz: float
) -> float:
    """Time from switch-on, found to the sample, to the settled block."""
    near = sign * current_a[max(first - 1, 0) * size : (first + 2) * size]
    rise = int(np.argmax(np.abs(near - near[0]) > 0.2 * np.ptp(near))) if len(near) else 0
    on = max(first - 1, 0) * size + rise
    return float(((first + settled) * size - on) / sample_rate_hz)
