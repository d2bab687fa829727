"""What a capture holds, known because it was made: levels, turns and wave over any stretch of the record."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

BINS_A_TURN = 1440


@dataclass(frozen=True)
class Truth:
    """Ground truth of one capture. Series lie on a grid of `step_s` whose first entry is at `start_s`.

    `current_a` is the wire's true current, `seen_a` what the clamp makes of it (gain, hysteresis, bandwidth;
    no offset, noise or steps), `turns` the shaft's angle in turns. No motor, no `turns`.
    """

    kind: str
    states: frozenset[str]
    step_s: float
    start_s: float
    current_a: NDArray
    seen_a: NDArray
    turns: NDArray | None
    bars: int | None
    poles: int | None
    settled_from_s: float
    settled_to_s: float
    offset_a: float
    supply_v: float
    duty: float
    pwm_hz: float
    firing_hz: float
    alternator_hz: float
    bandwidth_hz: float
    noise_a: float
    step_a: float

    @property
    def ripples_per_turn(self) -> int | None:
        """lcm(poles, bars)."""
        return None if self.bars is None or self.poles is None else int(np.lcm(self.bars, self.poles))

    def span(self, from_s: float, to_s: float) -> slice:
        """Grid entries between two times of the record."""
        first = max(0, round((from_s - self.start_s) / self.step_s))
        return slice(first, max(first + 1, round((to_s - self.start_s) / self.step_s)))

    def mean_a(self, from_s: float | None = None, to_s: float | None = None) -> float:
        """Mean of the wire's true current, over the settled window unless told."""
        return float(np.mean(self.current_a[self._window(from_s, to_s)], dtype=float))

    def seen_mean_a(self, from_s: float | None = None, to_s: float | None = None) -> float:
        """Mean that the clamp should show, without its offset."""
        return float(np.mean(self.seen_a[self._window(from_s, to_s)], dtype=float))

    def rpm(self, from_s: float | None = None, to_s: float | None = None) -> float | None:
        """Mean speed, None where nothing turns that could be told."""
        if self.turns is None:
            return None
        turns = self.turns[self._window(from_s, to_s)]
        return 60 * float(turns[-1] - turns[0]) / ((turns.size - 1) * self.step_s)

    def ripple_a(self, from_s: float | None = None, to_s: float | None = None) -> float | None:
        """Highest less lowest of the clamp's output, averaged over whole turns; None below one."""
        if self.turns is None:
            return None
        window = self._window(from_s, to_s)
        turns, seen = self.turns[window] - self.turns[window][0], self.seen_a[window]
        whole = int(turns[-1] + 0.01)
        if whole < 1:
            return None
        place = np.arange(whole * BINS_A_TURN) / BINS_A_TURN
        wave = np.interp(place, turns, seen).reshape(whole, BINS_A_TURN).mean(axis=0)
        return float(wave.max() - wave.min())

    def _window(self, from_s: float | None, to_s: float | None) -> slice:
        return self.span(
            self.settled_from_s if from_s is None else from_s, self.settled_to_s if to_s is None else to_s
        )


def settled(turns: NDArray, step_s: float, start_s: float, on_s: float, off_s: float) -> tuple[float, float]:
    """From where speed first comes within 2 % of its late level, to the switch-off or the record's end."""
    end_s = min(off_s, start_s + turns.size * step_s)
    last = round((end_s - start_s) / step_s)
    first = round((max(on_s, start_s) - start_s) / step_s)
    span = max(4, round(2e-3 / step_s))
    speed = np.convolve(np.diff(turns[first:last]), np.ones(span) / span, mode="valid")
    level = np.median(speed[speed.size // 2 :])
    off = np.flatnonzero(np.abs(speed - level) > 0.02 * level)
    # slow faults wobble: the run-up is over where speed first meets its level
    reached = int(np.argmax(speed >= 0.98 * level)) if off.size else 0
    return start_s + (first + reached) * step_s, end_s
