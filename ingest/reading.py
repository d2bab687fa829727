"""The metrics measured from one capture."""

from __future__ import annotations

from dataclasses import dataclass, field

from ingest.capture import Note


@dataclass(frozen=True)
class SpeedCandidate:
    """One speed the trace allows, with its probability."""

    rpm: float
    probability: float


@dataclass(frozen=True)
class Reading:
    """Metrics of one capture; a metric that can't be told is None and a note says why.

    Currents in A, `_pct` in percent of mean_a, `_se` standard errors, `_s`/`_ms` times.
    ripple_a is peak to peak of the synchronous average over turns; raw_ripple_pct is the plain
    (highest - lowest) / average * 100 of the raw trace, which sparks and noise enlarge.
    segments means commutator bars.
    """

    mean_a: float | None
    mean_a_se: float | None
    min_a: float | None
    max_a: float | None
    ripple_a: float | None
    ripple_pct: float | None
    raw_ripple_pct: float | None
    revolution_ms: float | None
    rpm: float | None
    rpm_se: float | None
    segments: int | None
    speed_confidence: float | None
    speed_candidates: tuple[SpeedCandidate, ...] = ()
    pattern_repeat_ms: float | None = None
    sample_rate_hz: float | None = None
    duration_s: float | None = None
    steady_from_s: float | None = None
    steady_to_s: float | None = None
    turns: float | None = None
    zero_a: float | None = None  # the off level that was subtracted; None: zero unverified
    inrush_peak_a: float | None = None
    settling_ms: float | None = None
    segment_profile_pct: tuple[float, ...] = ()  # averaged height of each segment, % of mean_a
    weakest_segment: int | None = None
    weakest_segment_z: float | None = None  # how far out of family, robust sd
    strongest_segment: int | None = None
    strongest_segment_z: float | None = None
    once_per_turn_pct: float | None = None
    twice_per_turn_pct: float | None = None
    sparks_per_s: float | None = None
    speed_steadiness_pct: float | None = None  # sd of speed within the window, % of mean
    pwm_hz: float | None = None
    ripple_pct_se: float | None = None
    mean_a_accuracy_a: float | None = None  # half-width with the clamp's own accuracy, for book values
    notes: tuple[Note, ...] = field(default_factory=tuple)
    method_version: int = field(kw_only=True)  # of what measured it; 0: a meter
