"""Lines that do not follow the shaft: what stays in the trace when the average turn is taken out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import fft

from ingest.measuring.order_tracking import WorkTrace
from ingest.measuring.speed_lines import HIGHEST_HZ, LOWEST_HZ
from ingest.measuring.speed_refine import TurnPhase

ABOVE_FLOOR = 30.0
NARROW = 0.5  # share of the power within NEARBY of the line that the line itself must hold
NEARBY = 0.02  # of its frequency
SLOW_BELOW_HZ, RESOLVED = 600.0, 2.0  # bins of a Hann window from an order to what is not its own
MOST = 6
LEAST_SHARE = 1e-3
WORTH_REMOVING, STRONGEST_REMOVED = 0.01, 0.3
ON_AN_ORDER = 0.03  # of an order: orders above those the average turn holds are the shaft's too
WANDERS = 1.0  # standard deviations of the speed by which a high order's line may lie off its place
LONGEST_S = 1.5
FAST_SAMPLES, FAST_BELOW, FAST_SHARE = 1 << 15, 0.47, 0.02  # samples looked at; of their rate; as share below
# A switched feed multiplies: round its clock lie the shaft's lines mirrored, f and clock +- f (as in
# amplitude modulation). A ripple on the feed only adds: its mirror images are second order.
MIRRORED_BELOW = 2.0  # times the strongest order's frequency: whose images are looked for
HIGHEST_ORDERS_HZ = 30_000.0  # nothing of the shaft is left above
# Samples of the strongest order: fewer fold its harmonics down to where images would be.
FINELY_SAMPLED = 10.0
IMAGES, IMAGE_ABOVE_FLOOR, IMAGE_SHARE = 2, 40.0, 0.0025


@dataclass(frozen=True)
class ForeignLines:
    """Lines strongest first: hz (f,), and share (f,), their power over that of the strongest shaft order.

    slow_hz, slow_share: what is strongest where engines fire and their first harmonics lie, narrow or not:
    lines so close there hide each other's floor.
    mirrored: one is mirrored about the strongest order, so that either may be a switched feed's clock.
    """

    hz: np.ndarray
    share: np.ndarray
    mirrored: bool = False
    slow_hz: float = 0.0
    slow_share: float = 0.0

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
    off_hz = np.abs(hz / phase.turn_hz - np.round(hz / phase.turn_hz)) * phase.turn_hz
    slow = np.where((hz < SLOW_BELOW_HZ) & (off_hz > RESOLVED * work.rate_hz / n), share, 0.0)
    slowest = int(np.argmax(slow))
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
        blurred = max(
            ON_AN_ORDER, work.rate_hz / n / phase.turn_hz, WANDERS * order * phase.steadiness_pct / 100
        )
        if (
            narrow
            and power[i] > ABOVE_FLOOR * np.median(near) / np.log(2)
            and abs(order - round(order)) > min(blurred, 0.5)
        ):
            found.append((float(hz[i]), float(share[i])))
        share[line] = 0.0
    lines = np.array(found).reshape(-1, 2)
    a_turn = phase.turn_hz * size / work.rate_hz  # in bins
    carrier = (1 + int(np.argmax(np.abs(np.fft.rfft(phase.wave)[1:])))) * a_turn
    fine = work.spark_rate_hz >= FINELY_SAMPLED * carrier * work.rate_hz / size
    mirrored = fine and any(
        _mirrored(power, place, carrier, half, a_turn)
        for place in lines[:, 0] * size / work.rate_hz
        if place < MIRRORED_BELOW * carrier
        and not _folded(place * work.rate_hz / size, work.spark_rate_hz, phase, 0.0)
    )
    return ForeignLines(lines[:, 0], lines[:, 1], mirrored, float(hz[slowest]), float(slow[slowest]))


def _folded(line_hz: float, rate_hz: float, phase: TurnPhase, within_hz: float) -> bool:
    """Tell whether a line may be a shaft order above half the sampling rate, folded down."""
    true_hz = rate_hz + np.array([-line_hz, line_hz])
    orders = true_hz[true_hz < HIGHEST_ORDERS_HZ] / phase.turn_hz
    return bool(np.any(np.abs(orders - np.round(orders)) < max(ON_AN_ORDER, within_hz / phase.turn_hz)))


def _mirrored(power: np.ndarray, line: float, carrier: float, half: int, turn: float) -> bool:
    """Tell whether a line has images about a carrier or its double; places and half in bins of power."""
    own = power[max(round(line) - half, 0) : round(line) + half + 1].max()
    images = 0
    for image in (abs(carrier - line), carrier + line, abs(2 * carrier - line), 2 * carrier + line):
        i, order = round(image), image / turn
        if i < 2 * half or i + half >= len(power) or abs(order - round(order)) < ON_AN_ORDER:
            continue
        floor = np.median(power[max(i - 15 * half, 0) : i + 15 * half + 1]) / np.log(2)
        least = max(IMAGE_SHARE * own, IMAGE_ABOVE_FLOOR * floor)
        images += bool(power[i - half : i + half + 1].max() > least)
    return images >= IMAGES


def fast_line_hz(current_a: np.ndarray, rate_hz: float, phase: TurnPhase) -> float | None:
    """Frequency of a narrow line above HIGHEST_HZ that a drive may leave in the samples, None without one.

    current_a (n,) is the running part as sampled; a line on a shaft order is no drive's.
    """
    x = current_a[-FAST_SAMPLES:]
    n, window = len(x), np.hanning(min(len(current_a), FAST_SAMPLES))
    power = np.abs(fft.rfft((x - x.mean()) * window)) ** 2 * (2 / window.sum()) ** 2
    first, last = int(HIGHEST_HZ / rate_hz * n), int(FAST_BELOW * n)
    if last - first < 64:
        return None
    i = first + int(np.argmax(power[first:last]))
    reach = max(int(NEARBY * i), 6)
    near = power[max(i - reach, first) : i + reach + 1]
    least = FAST_SHARE * (np.abs(fft.rfft(phase.wave)[1:]).max() * 2 / len(phase.wave)) ** 2
    narrow = power[max(i - 2, 0) : i + 3].sum() > NARROW * near.sum()
    line_hz = i * rate_hz / n
    resolved_hz = max(2 * rate_hz / n, WANDERS * line_hz * phase.steadiness_pct / 100)
    off_order_hz = abs(line_hz - round(line_hz / phase.turn_hz) * phase.turn_hz)
    if power[i] < max(least, ABOVE_FLOOR * np.median(near) / np.log(2)) or not narrow:
        return None
    if off_order_hz < resolved_hz or _folded(line_hz, rate_hz, phase, resolved_hz):
        return None
    return float(line_hz)


def _left_over(y: np.ndarray, rate_hz: float, phase: TurnPhase, first: int) -> np.ndarray:
    """Trace y (n,) from sample `first` on, less the average turn."""
    turns = phase.at(np.arange(first, len(y)) / rate_hz)
    fine = len(phase.wave)
    place = (turns - np.floor(turns)) * fine
    return y[first:] - np.interp(place, np.arange(fine + 1), np.append(phase.wave, phase.wave[0]))
