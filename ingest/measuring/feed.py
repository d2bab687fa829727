"""What a switched (PWM) feed leaves in the record, before any speed is sought: its clock, fast or slow.

A fast clock is found and taken out whatever was told. A slow one lets the current fall to next to nothing and
rise again at every period, as nothing else does but a bar that hardly conducts; the current alone does not
tell these apart, so it takes the word that the feed is direct.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from scipy import fft

from ingest.known_pump import KnownPump
from ingest.measuring.drowned_ripple import drowned_speed, is_drowned
from ingest.measuring.fast_clock import fast_clock_hz, without_fast_clock
from ingest.measuring.lifts import without_lifts
from ingest.measuring.order_tracking import WorkTrace, prepare
from ingest.measuring.speed import ANSWER_ABOVE, SAME_SPEED, Speed, find_speed
from ingest.measuring.switching import without_clock
from ingest.measuring.whitening import whitened

FOLLOWED_AT_LEAST = 0.3  # likeness to the average turn, of the stretch least like it
UNSTEADY_PCT = 3.0  # a shaft in the settled run is steadier: beyond, the phase has slipped somewhere
OPEN = 0.4  # probability of the likeliest turn: of less, nothing speaks for any
SLOW_HZ = (40.0, 450.0)  # clocks of slow drives, common practice, no source
PULSED_SWING, NEXT_TO_NOTHING, TAILS = 1.1, 0.25, 0.005  # of the mean, of the mean, share of the samples


@dataclass(frozen=True)
class Clocks:
    """Frequencies in Hz, None where there is no such clock.

    fast: above the ripple, taken out. taken: the strongest line, where it was taken for the clock and out.
    slow: the feed, or a dead bar, interrupts the current so many times a second.
    open: two speeds fit as well, with the strongest line as ripple and as clock.
    """

    fast: float | None = None
    taken: float | None = None
    slow: float | None = None
    open: bool = False


def without_clocks(current_a: np.ndarray, rate_hz: float, supply: str | None) -> tuple[WorkTrace, Clocks]:
    """Bring the running part (n,) to the working rate without the feed's clock."""
    slow = slow_clock_hz(current_a, rate_hz)
    fast = fast_clock_hz(current_a, rate_hz, told=supply == "pwm")
    if fast is not None:
        return prepare(without_fast_clock(current_a, rate_hz, fast), rate_hz), Clocks(fast, None, slow)
    return prepare(current_a, rate_hz), Clocks(None, None, slow)


def calmer_traces(
    current_a: np.ndarray, rate_hz: float, work: WorkTrace, known: KnownPump
) -> Iterator[WorkTrace]:
    """The running part (n,) as it may be read where its lines are drowned, the likeliest help first.

    Whitening changes how strong orders are beside each other, which is all that tells bars not told.
    """
    told = known.segments is not None
    if told:
        yield whitened(work)
    if (calm := without_lifts(current_a, rate_hz)) is not None:
        lifted = without_clocks(*calm, known.supply)[0]
        yield lifted
        if told:
            yield whitened(lifted)


def by_drowned_ripple(
    current_a: np.ndarray, rate_hz: float, work: WorkTrace, known: KnownPump, found: Speed | None
) -> Speed | None:
    """The speed that the ripple leads to where none could be followed; None without, against what was found,
    or where other bars than those told are likely. current_a (n,): the running part."""
    contradicted = found is not None and found.contradicted is not None
    if contradicted or not is_drowned(work, float(np.mean(current_a))):
        return None
    calm = without_lifts(current_a, rate_hz)
    traces = [work] if calm is None else [without_clocks(*calm, known.supply)[0], work]
    speeds = [speed for trace in traces if (speed := drowned_speed(trace, known)) is not None]
    if not speeds:
        return None
    hz = [speed.phase.turn_hz for speed in speeds]
    if found is not None and was_followed(found) and found.probability > OPEN:
        hz.append(found.phase.turn_hz)  # its lines are more than their ripple
    return speeds[0] if max(hz) / min(hz) < 1 + SAME_SPEED else None


def was_followed(speed: Speed) -> bool:
    """Whether the phase was followed throughout."""
    return speed.phase.followed >= FOLLOWED_AT_LEAST and speed.phase.steadiness_pct <= UNSTEADY_PCT


def find_fed_speed(
    work: WorkTrace, clocks: Clocks, known: KnownPump
) -> tuple[WorkTrace, Clocks, Speed | None]:
    """Seek the speed; of a supply told as PWM that shows no clock, the strongest line may be the clock.

    Then the speed is sought without it too. That one is taken where the other is not sure; where both are,
    and differ, neither is.
    """
    speed = find_speed(work, known)
    if known.supply != "pwm" or clocks.fast is not None:
        return work, clocks, speed
    rest, taken = without_clock(work)
    other = find_speed(rest, known) if taken is not None else None
    if other is None or other.probability < ANSWER_ABOVE:
        return work, clocks, speed
    if speed is None or speed.probability < ANSWER_ABOVE:
        return rest, replace(clocks, taken=taken), other
    same = abs(speed.phase.turn_hz / other.phase.turn_hz - 1) < SAME_SPEED
    return work, replace(clocks, taken=None if same else taken, open=not same), speed


def slow_clock_hz(current_a: np.ndarray, rate_hz: float) -> float | None:
    """Frequency at which the current is interrupted, None where it is not; current_a (n,)."""
    low, high = np.quantile(current_a, [TAILS, 1 - TAILS])
    mean = float(np.mean(current_a))
    # An interrupted current stops, it does not turn round: far below zero the record is AC-coupled instead.
    if mean <= 0 or high - low < PULSED_SWING * mean or abs(low) > NEXT_TO_NOTHING * mean:
        return None
    n = len(current_a)
    power = np.abs(fft.rfft((current_a - mean) * np.hanning(n))) ** 2
    first = max(int(0.5 * SLOW_HZ[0] / rate_hz * n), 2)
    strongest_hz = (first + int(np.argmax(power[first:]))) * rate_hz / n
    return strongest_hz if SLOW_HZ[0] <= strongest_hz <= SLOW_HZ[1] else None
