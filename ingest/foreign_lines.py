"""Lines that do not follow the shaft: what stays in the trace when the average turn is taken out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import fft

from ingest.order_tracking import WorkTrace
from ingest.speed_lines import HIGHEST_HZ, LOWEST_HZ
from ingest.speed_refine import TurnPhase

ABOVE_FLOOR = 30.0
NARROW = 0.5  # share of the power within NEARBY of the line that the line itself must hold
NEARBY = 0.02  # of its frequency
MOST = 6
LEAST_SHARE = 1e-3
WORTH_REMOVING, STRONGEST_REMOVED = 0.01, 0.3
ON_AN_ORDER = 0.03  # of an order: orders above those the average turn holds are the shaft's too
LONGEST_S = 1.5


@dataclass(frozen=True)
class ForeignLines:
    """Lines strongest first: hz (f,), and share (f,), their power over that of the strongest shaft order."""

    hz: np.ndarray
    share: np.ndarray

    @property
    def disturbing(self) -> bool:
        """Tell whether they are worth taking out, and too weak to be what tells the speed."""
        return bool(len(self.share) and WORTH_REMOVING < self.share[0] < STRONGEST_REMOVED)


NO_LINES = ForeignLines(np.zeros(0), np.zeros(0))


def foreign_lines(work: WorkTrace, phase: TurnPhase) -> ForeignLines:
    """Find them in the last LONGEST_S of the trace.

    Speed wander smears shaft orders in time but not by angle, so none of it is left over; a line is only
    what is narrow in time.
    """
    first = max(len(work.y) - int(LONGEST_S * work.rate_hz), 0)
    rest = _left_over(work.y, work.rate_hz, phase, first)
    n = len(rest)
    window = np.hanning(n)
    size = fft.next_fast_len(2 * n, real=True)
    power = np.abs(fft.rfft(rest * window, size)) ** 2 * (2 / window.sum()) ** 2
    hz = np.arange(len(power)) * work.rate_hz / size
    keep = (hz >= max(LOWEST_HZ, 4 * work.rate_hz / n)) & (hz <= min(work.usable_hz, HIGHEST_HZ))
    turn_amplitude = np.abs(fft.rfft(phase.wave)[1:]).max() * 2 / len(phase.wave)
    share = np.where(keep, power / max(float(turn_amplitude) ** 2, 1e-30), 0.0)
    half = int(np.ceil(2 * size / n))  # bins from a line's middle to its first zero
    found: list[tuple[float, float]] = []
    for _ in range(MOST):
        i = int(np.argmax(share))
        if share[i] <= LEAST_SHARE:
            break
        reach = int(max(NEARBY * i, 3 * half))
        near = power[max(i - reach, 0) : i + reach + 1]
        line = slice(max(i - half, 0), i + half + 1)
        narrow = power[line].sum() > NARROW * near.sum()
        order = hz[i] / phase.turn_hz
        if (
            narrow
            and power[i] > ABOVE_FLOOR * np.median(near) / np.log(2)
            and abs(order - round(order)) > ON_AN_ORDER
        ):
            found.append((float(hz[i]), float(share[i])))
        share[line] = 0.0
    lines = np.array(found).reshape(-1, 2)
    return ForeignLines(lines[:, 0], lines[:, 1])


def _left_over(y: np.ndarray, rate_hz: float, phase: TurnPhase, first: int) -> np.ndarray:
    """Trace y (n,) from sample `first` on, less the average turn."""
    turns = phase.at(np.arange(first, len(y)) / rate_hz)
    fine = len(phase.wave)
    place = (turns - np.floor(turns)) * fine
    return y[first:] - np.interp(place, np.arange(fine + 1), np.append(phase.wave, phase.wave[0]))
