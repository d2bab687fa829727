"""Measure captures of the time-domain generator in several ways, and hold each answer against the truth."""

import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from ingest import measure
from ingest.capture import Capture as Recorded
from ingest.errors import CaptureRefused
from ingest.known_pump import KnownPump
from tests.benchmarks.time_domain.generating import Capture

PREVIOUS_SD = 0.05  # of ln rpm between visits, volts told
FOREIGN = ("fan", "alternator", "two_pumps", "brushless")
PWM = ("fast_pwm", "slow_pwm")
NO_PUMP = (*FOREIGN, "noise", "flat_high", "stalled")
ALIKE = ("bars_alike",)
GROSS = 0.01
BARS_SUPPOSED = 8  # told of foreign records, as of the pump the clamp was meant for
# Numbers of bars told wrong, by how often they are built.
BUILT = {6: 0.06, 7: 0.09, 8: 0.38, 9: 0.09, 10: 0.16, 11: 0.08, 12: 0.14}
NAN = float("nan")


@dataclass(frozen=True)
class Outcome:
    """One way of measuring one capture; errors of speed are relative, NaN where it was not answered."""

    kind: str
    states: frozenset[str]
    way: str
    seed: int
    number: int
    bars: int
    poles: int
    gated: bool
    speed_error: float
    speed_se: float
    ratio: float  # first candidate over truth, answered or not
    confidence: float
    mean_a: float
    mean_error_a: float
    mean_se_a: float
    ripple_a: float
    ripple_error_a: float
    ripple_se_a: float
    refused: str  # code of a refused capture
    notes: tuple[str, ...]
    cpu_s: float

    @property
    def answered(self) -> bool:
        """Whether a speed was told."""
        return not np.isnan(self.speed_error)

    @property
    def gross(self) -> bool:
        """Whether a speed was told that is more than 1 % off, or that nothing has."""
        return self.answered and not abs(self.speed_error) <= GROSS


def ways_of(kind: str) -> tuple[str, ...]:
    """Ways of measuring that a kind is judged by."""
    if kind in PWM:
        return ("supply told", "bars told", "untold")
    if kind == "fan":
        return ("untold", "told", "pump's bars told")
    if kind in NO_PUMP:
        return ("untold", "told")
    if kind == "four_poles":
        return ("told", "untold")
    if kind in ALIKE:
        return ("told", "previous", "untold")
    return ("told", "previous", "untold", "wrong bars told")


def judged(captures: Iterable[Capture], seed: int, first: int = 0) -> Iterator[Outcome]:
    """Measure every capture, numbered from `first` on, in every way of its kind."""
    for number, capture in enumerate(captures, start=first):
        rng = np.random.default_rng([seed, number, 77])
        slip = float(np.exp(PREVIOUS_SD * rng.standard_normal()))
        for way in ways_of(capture.truth.kind):
            yield outcome(capture, way, seed, number, slip)


def outcome(capture: Capture, way: str, seed: int, number: int, slip: float = 1.0) -> Outcome:
    """Measure one capture one way; `slip` is the last visit's speed over today's."""
    truth = capture.truth
    record = Recorded(np.asarray(capture.current_a, dtype=float), capture.sample_rate_hz)
    began = time.process_time()
    reading, refused = None, ""
    try:
        reading = measure(record, _known(capture, way, seed, number, slip))
    except CaptureRefused as refusal:
        refused = refusal.code
    spent = time.process_time() - began
    is_pump = truth.kind not in NO_PUMP
    about = (
        truth.kind,
        truth.states,
        way,
        seed,
        number,
        truth.bars or 0,
        truth.poles or 0,
        gated(capture, way),
    )
    if reading is None:
        return Outcome(*about, *([NAN] * 10), refused=refused, notes=(), cpu_s=spent)
    span = (reading.steady_from_s or 0.0, reading.steady_to_s or 0.0)
    rpm = truth.rpm(*span) if is_pump else None
    zero = 0.0 if reading.zero_a is not None else truth.offset_a
    mean_error = NAN if reading.mean_a is None else reading.mean_a - zero - truth.seen_mean_a(*span)
    ripple = truth.ripple_a(*span) if is_pump else None
    told_ripple = reading.ripple_a is not None and ripple is not None
    speed_error = NAN
    if reading.rpm is not None:
        speed_error = reading.rpm / rpm - 1 if rpm else float("inf")
    first = reading.speed_candidates[0].rpm if reading.speed_candidates else NAN
    ripple_se = NAN
    if reading.ripple_pct_se is not None and reading.mean_a:
        ripple_se = reading.ripple_pct_se * reading.mean_a / 100
    return Outcome(
        *about,
        speed_error=speed_error,
        speed_se=NAN if reading.rpm_se is None or not rpm else reading.rpm_se / rpm,
        ratio=first / rpm if rpm else NAN,
        confidence=NAN if reading.speed_confidence is None else reading.speed_confidence,
        mean_a=truth.seen_mean_a(*span),
        mean_error_a=mean_error,
        mean_se_a=NAN if reading.mean_a_se is None else reading.mean_a_se,
        ripple_a=NAN if ripple is None else ripple,
        ripple_error_a=reading.ripple_a - ripple if told_ripple else NAN,  # type: ignore[operator]
        ripple_se_a=ripple_se,
        refused="",
        notes=tuple(note.code for note in reading.notes),
        cpu_s=spent,
    )


def gated(capture: Capture, way: str) -> bool:
    """Whether the record has the turns, samples and steps under which an answer is promised."""
    truth = capture.truth
    rpm, ripple = truth.rpm(), truth.ripple_a()
    if rpm is None or ripple is None or truth.ripples_per_turn is None:
        return False
    turns = rpm / 60 * (truth.settled_to_s - truth.settled_from_s)
    ripple_hz = rpm / 60 * truth.ripples_per_turn
    noise = float(np.hypot(truth.noise_a, truth.step_a / 12**0.5))
    return (
        turns >= (5 if way == "untold" else 2)
        and capture.sample_rate_hz >= (8 if way == "untold" else 6) * ripple_hz
        and ripple >= 3 * truth.step_a
        and ripple >= 4 * noise
    )


def _known(capture: Capture, way: str, seed: int, number: int, slip: float) -> KnownPump:
    truth = capture.truth
    rpm = truth.rpm() if way == "previous" else None
    bars = truth.bars or BARS_SUPPOSED
    if way in ("wrong bars told", "pump's bars told"):
        rng = np.random.default_rng([seed, number, 5])
        other = {n: share for n, share in BUILT.items() if n != bars}
        bars = int(rng.choice(list(other), p=np.array(list(other.values())) / sum(other.values())))
    return KnownPump(
        segments=None if way == "untold" else bars,
        poles=None if way == "untold" else 2 if way == "pump's bars told" else truth.poles,
        previous_rpm=rpm * slip if rpm else None,
        supply="pwm" if way == "supply told" else None,
    )
