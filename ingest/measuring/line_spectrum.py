"""The spectrum of a trace against the angle of the line it was followed by, with the floor of its lines.

The floor holds noise, the window's leakage and what is left of the shaft's wander; where sampling may fold
harmonics down, a line tells of no turn.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import fft

from ingest.measuring.order_tracking import AngleTrace

DYNAMIC_RANGE = 1e-6  # lines this far below the strongest tell nothing
FLOOR_SHARE = 0.25
FOLDED_BELOW_HZ = 60_000.0  # harmonics above it are not looked for where sampling folds them
FOLDED_BINS, FOLDED_POWER = 3.0, 2.0  # how near an order, and how strong, a folded harmonic may pass for it
HARMONIC = 0.05  # of the strongest line's power: a part of its order so strong has it for a harmonic
SKIRT, SKIRT_HZ = 1e-4, 24.0  # power beside a line, where speed wander was not followed


@dataclass(frozen=True)
class LineSpectrum:
    """Spectrum against line angle, at half-bin steps (a bin is one turn of the whole trace's angle).

    power, floor: (b,), floor holding noise and the window's leakage from stronger lines; strongest: of power.
    folded: (b,), where slow sampling folds a harmonic of the strongest line, so that a line tells of no turn.
    """

    power: np.ndarray
    floor: np.ndarray
    folded: np.ndarray
    strongest: float
    cycles: int

    @property
    def strongest_line(self) -> float:
        """Place of the strongest line, in multiples of the followed line."""
        return (4 + int(np.argmax(self.power[4:]))) / (2 * self.cycles)

    def at(self, line_orders: np.ndarray, *, folded: bool = False) -> tuple[np.ndarray, np.ndarray]:
        """Power over floor, and floor over the strongest, at multiples of the followed line; (k,) each.

        folded: also lines that may be folded, which else show no more than the floor.
        """
        near = self._near(line_orders)
        power = np.maximum(self.power[near], self.power[near + 1])
        floor = self.floor[near]
        x = power / floor
        return x if folded else np.where(self.folded[near], np.minimum(x, 1.0), x), floor / self.strongest

    def silent(self, line_orders: np.ndarray) -> np.ndarray:
        """Whether what stands at multiples of the followed line may be folded; (k,)."""
        return self.folded[self._near(line_orders)]

    def _near(self, line_orders: np.ndarray) -> np.ndarray:
        return np.clip((2 * line_orders * self.cycles).astype(int), 0, len(self.power) - 2)


def line_spectrum(trace: AngleTrace, sampled_hz: float, highest_hz: float) -> LineSpectrum:
    """Hann spectrum of the whole trace with its floor; highest_hz: content of the trace ends there."""
    n = len(trace.y)
    power = np.abs(fft.rfft(trace.y * np.hanning(n + 1)[:n], 2 * n)) ** 2
    power = power[: int(0.95 * len(power))]
    strongest = float(power[4:].max())
    # A low quantile stays on the noise even where lines stand close; exponential bins, so q = -ln(1 - share).
    group = int(np.clip(len(power) // 12, 24, 256))
    groups = max(len(power) // group, 1)
    low = np.quantile(power[: groups * group].reshape(groups, -1), FLOOR_SHARE, axis=1)
    middles = (np.arange(groups) + 0.5) * group
    noise = np.exp(np.interp(np.arange(len(power)), middles, np.log(low / -np.log1p(-FLOOR_SHARE) + 1e-300)))
    leak = np.convolve(power, LEAKAGE, mode="same")[: len(power)]
    reach = max(int(2 * SKIRT_HZ * trace.cycles / trace.line_hz), 5)  # in half-bins
    leak += _skirts(power, reach)
    folded = _folded(
        power, trace.cycles, sampled_hz / trace.line_hz, highest_hz / trace.line_hz, trace.line_hz
    )
    return LineSpectrum(power, noise + leak + DYNAMIC_RANGE * strongest, folded, strongest, trace.cycles)


def _folded(power: np.ndarray, cycles: int, sampled: float, highest: float, line_hz: float) -> np.ndarray:
    """Half-bins (b,) on which sampling may fold harmonics of the strongest line, or of what it is one of.

    sampled, highest: sampling rate and where content ends, in multiples of the followed line.
    """
    out = np.zeros(len(power), dtype=bool)
    if (sampled - highest) * line_hz > FOLDED_BELOW_HZ:
        return out
    strongest = (4 + int(np.argmax(power[4:]))) / (2 * cycles)
    if abs(strongest - round(strongest)) * cycles < 1:
        strongest = float(round(strongest))

    def power_at(place: np.ndarray) -> np.ndarray:
        near = np.clip((2 * place * cycles).astype(int), 0, len(power) - 2)
        return np.maximum(power[near], power[near + 1])

    parts = np.array([3.0, 2.0, 1.0])
    base = strongest / parts[np.argmax(power_at(strongest / parts) > HARMONIC * power[4:].max())]
    in_view = power_at(base * np.arange(1, max(int(highest / base), 1) + 1))
    order = np.arange(1, int(FOLDED_BELOW_HZ / line_hz / base) + 1)
    order = order[order * base > sampled / 2]
    place = np.abs(order * base - sampled * np.round(order * base / sampled))
    apart = np.abs(place / base - np.round(place / base)) * base * cycles > FOLDED_BINS
    # Edges as sharp as can be make powers fall with the square of the order.
    most = FOLDED_POWER * in_view[-2:].max() * (len(in_view) / order[apart]) ** 2
    reach = int(2 * FOLDED_BINS)
    near = np.round(2 * place[apart] * cycles).astype(int)[:, None] + np.arange(-reach, reach + 1)
    near = np.clip(near, 0, len(power) - 1)
    out[near[power[near] < most[:, None]]] = True
    return out


def _skirts(power: np.ndarray, reach: int) -> np.ndarray:
    """SKIRT of the power within `reach` half-bins either side, without the line's own five."""
    total = np.concatenate([[0.0], np.cumsum(power)])
    i = np.arange(len(power))

    def within(width: int) -> np.ndarray:
        return total[np.minimum(i + width + 1, len(power))] - total[np.maximum(i - width, 0)]

    return SKIRT / 3 * np.maximum(within(reach) - within(4), 0.0)


def _leakage() -> np.ndarray:
    """Envelope of the Hann window's side lobes at half-bin steps, halved as a line fills two of them."""
    away = np.abs(np.arange(-60, 61)) / 2
    return np.where(away >= 2, 0.5 / (1e-9 + (np.pi * away * (away**2 - 1)) ** 2), 0.0) * (away >= 2)


LEAKAGE = _leakage()
