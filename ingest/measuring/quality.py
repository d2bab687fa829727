"""What is wrong with a record and what to change: one note per fault, each with a stable code."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ingest.capture import Note
from ingest.measuring.foreign_lines import ForeignLines
from ingest.trade_numbers import PLAUSIBLE_A, USUAL_A, USUAL_SWING_A
from ingest.wording import measuring_notes

FEWEST_TURNS = 5.0
FEWEST_TURNS_SEGMENTS_TOLD = 2.0
FEWEST_SAMPLES_A_RIPPLE_SEGMENTS_TOLD = 6.0
FEWEST_SAMPLES_A_RIPPLE = 8.0  # bars that differ show in the faintest lines
COARSE_STEPS = 3.0  # ripple of fewer quantisation steps is coarse
TOO_COARSE_STEPS = 2.5  # and of fewer than this can't be measured, unless noise stirs the codes:
STIRRED, TOO_COARSE_STIRRED = 0.4, 1.5  # of a step (standard deviation); steps
ALTERNATOR_BELOW_HZ = 4200.0  # 6 to 8 pole pairs, 2 to 3 times the crank's speed: common practice, no source
MAINS_HZ = (50.0, 60.0)
MAINS_WITHIN = 0.001
SECOND_FROM_HZ, SECOND_SHARE = 300.0, 0.02  # a second motor's ripple with its double
DOUBLE_WITHIN, DOUBLE_OF = 0.012, 0.25  # of the ratio 2; power over the ripple's own
HUM_SHARE, FOREIGN_SHARE = 0.05, 0.02  # of the power of the strongest shaft order


@dataclass(frozen=True)
class RangeCheck:
    """step_a: quantisation step (0 when too fine to see); clipped_share of the running samples."""

    step_a: float
    clipped_share: float


def check_range(current_a: np.ndarray) -> RangeCheck:
    """Find the quantisation step and flat tops of the running samples, shape (n,)."""
    stride = max(len(current_a) // 50_000, 1)
    levels, counts = np.unique(current_a[::stride], return_counts=True)
    if len(levels) < 3:
        return RangeCheck(float(np.ptp(levels)), 0.0)
    gaps = np.diff(levels)
    tiny = 1e-7 * max(float(np.ptp(levels)), float(np.abs(levels).max()))
    gaps = gaps[gaps > tiny]
    step = float(np.median(gaps[gaps < 1.5 * gaps.min()])) if len(gaps) else 0.0
    clipped = 0.0
    for edge, inner in ((0, slice(1, 4)), (-1, slice(-4, -1))):
        at_edge, near = counts[edge], counts[inner].max()
        # A sine dwells at its extremes, but no more than about three times as long as one code further in.
        if at_edge > max(4 * near, 0.004 * counts.sum()) and len(levels) >= 6:
            clipped += at_edge / counts.sum()
    return RangeCheck(step, float(clipped))


def zero_note(zero_a: float | None) -> Note:
    """Say how the zero was dealt with."""
    if zero_a is None:
        return measuring_notes.zero_unverified()
    if abs(zero_a) >= 0.02:
        return measuring_notes.zero_corrected(zero_a)
    return measuring_notes.zero_verified(zero_a)


def range_notes(check: RangeCheck, ripple_a: float | None) -> list[Note]:
    """Notes on clipping and coarse codes."""
    notes = []
    if check.clipped_share > 0:
        notes.append(measuring_notes.clipped(check.clipped_share))
    if ripple_a is not None and check.step_a > 0 and ripple_a < COARSE_STEPS * check.step_a:
        notes.append(measuring_notes.ripple_coarse(ripple_a / check.step_a, check.step_a))
    return notes


def mains_note(foreign: ForeignLines, duration_s: float) -> Note | None:
    """Name mains hum among lines that do not follow the shaft; short records tell frequency roughly."""
    rough_hz = min(0.35 / duration_s, 2.5)
    for f, share in zip(foreign.hz, foreign.share, strict=True):
        for mains in MAINS_HZ:
            multiple = round(f / mains)
            if share >= HUM_SHARE and 1 <= multiple <= 6 and abs(f - multiple * mains) < 0.003 * f + rough_hz:
                return measuring_notes.mains_beside(f, mains)
    return None


def foreign_note(
    foreign: ForeignLines, rate_hz: float, supply: str | None
) -> tuple[Note | None, float | None]:
    """Name the strongest foreign line as PWM or alternator ripple: a note, and the frequency if it is PWM."""
    strong = foreign.hz[foreign.share >= FOREIGN_SHARE]
    strong = strong[(strong >= 300) & ~np.array([is_mains(f) and f < 400 for f in strong], dtype=bool)]
    if not len(strong):
        return None, None
    hz = float(strong[0])
    if supply == "pwm":
        return measuring_notes.drive_line(hz), None
    if hz <= ALTERNATOR_BELOW_HZ:
        return measuring_notes.alternator_suspected(hz), None
    return measuring_notes.drive_suspected(hz, rate_hz), hz


def second_motor_hz(foreign: ForeignLines) -> float | None:
    """Frequency of a second commutator's ripple: a line with its double, neither of which follows the shaft.

    An alternator's double is weaker: the harmonics of six rectified pulses have 1/35 and 1/143 of the mean
    (Fourier series of |cos| about its top), 0.06 in power; up to 0.15 was seen of simulated ones.
    """
    for hz, share in zip(foreign.hz, foreign.share, strict=True):
        doubled = foreign.share[np.abs(foreign.hz / hz - 2) < DOUBLE_WITHIN].max(initial=0.0)
        if hz >= SECOND_FROM_HZ and doubled > DOUBLE_OF * share and share + doubled > SECOND_SHARE:
            return float(hz)
    return None


def is_mains(line_hz: float) -> bool:
    """Tell whether the strongest line is hum (50 or 60 Hz) or a rectifier's (twice, six times as much)."""
    return any(abs(line_hz - n * mains) < MAINS_WITHIN * line_hz for mains in MAINS_HZ for n in (1, 2, 6))


def is_clocked(line_hz: float, supply: str | None) -> bool:
    """Tell whether a line may be a switched drive's: on a round 100 Hz to 100 parts in a million.

    A steady pump can sit on a round figure too (8 segments at 6,000 rpm make 800 Hz), so without a switched
    supply only lines above 2 kHz count, where drives switch and few commutators ripple.
    """
    round_figure = line_hz >= 200 and abs(line_hz - 100 * round(line_hz / 100)) < 1e-4 * line_hz
    return round_figure and (supply == "pwm" or line_hz > 2000)


def probe_note(mean_a: float, swing_a: float | None) -> Note | None:
    """Doubt the probe factor when no fuel pump draws such a mean, or few do and the swing is as far off.

    swing_a: peak to peak of what varies in the band of ripples, None where it was not looked at. A stalled
    pump draws as much as one read tenfold, but without the swing.
    """
    far = not PLAUSIBLE_A[0] <= abs(mean_a) <= PLAUSIBLE_A[1]
    if swing_a is not None:
        far |= abs(mean_a) < USUAL_A[0] and swing_a < USUAL_SWING_A[0]
        far |= abs(mean_a) > USUAL_A[1] and swing_a > USUAL_SWING_A[1]
    return measuring_notes.probe_factor_doubtful(mean_a) if far else None


def speed_gates(
    *,
    turns: float,
    samples_a_ripple: float,
    ripple_steps: float,
    noise_steps: float = 0.0,
    segments_told: bool,
    at_odds: bool = False,
    unusual: bool = False,
) -> list[Note]:
    """Notes for every gate a speed fails; empty when it passes all.

    noise_steps: noise of a sample. at_odds: with the last visit's speed. unusual: outside the usual band, and
    no last visit bears it out.
    """
    notes = []
    known = segments_told and not at_odds
    fewest = FEWEST_TURNS_SEGMENTS_TOLD if known and not unusual else FEWEST_TURNS
    if turns < fewest:
        notes.append(measuring_notes.too_few_turns(turns, fewest))
    told_enough = FEWEST_SAMPLES_A_RIPPLE_SEGMENTS_TOLD
    enough = told_enough if known else FEWEST_SAMPLES_A_RIPPLE
    if samples_a_ripple < enough:
        if samples_a_ripple < told_enough:
            slow = measuring_notes.ripple_folded
        elif not segments_told:
            slow = measuring_notes.slow_for_untold_segments
        else:
            slow = measuring_notes.slow_for_a_far_speed
        notes.append(slow(samples_a_ripple))
    if ripple_steps < (TOO_COARSE_STIRRED if noise_steps > STIRRED else TOO_COARSE_STEPS):
        notes.append(measuring_notes.speed_coarse(ripple_steps))
    return notes
