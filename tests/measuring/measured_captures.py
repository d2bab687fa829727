"""Small captures for the measuring tests, drawn from the simulated motor with fixed seeds."""

from functools import lru_cache

import numpy as np

from demo_fleet.acquisition import Probe, Scope, acquire
from demo_fleet.armature import Motor, Trace, simulate
from ingest.capture import Capture


@lru_cache(maxsize=16)
def trace(
    bars: int = 8, faults: str = "healthy", seconds: float = 0.25, alike: bool = False, start: str = "settled"
) -> Trace:
    motor = Motor(bars=bars, alike=alike, spread_seed=3)
    return simulate(motor, duration_s=seconds, faults=faults, start=start, seed=1)  # type: ignore[arg-type]


def recorded(of: Trace, **options: object) -> tuple[Capture, object]:
    """Return the capture a 12-bit 100 kS/s digitiser makes of a trace, and its truth."""
    probe = Probe(zero_a=float(options.pop("zero_a", 0.0)), reversed=bool(options.pop("reversed", False)))  # type: ignore[arg-type]
    scope = Scope(full_scale_a=float(options.pop("full_scale_a", 10.0)), bits=int(options.pop("bits", 12)))  # type: ignore[call-overload]
    samples, rate, truth = acquire(of, probe, scope, seed=2, **options)  # type: ignore[arg-type]
    return Capture(samples, rate, source="drawn"), truth


def steady(amps: float, seconds: float = 0.1, rate_hz: float = 20_000.0) -> Capture:
    """Return noise about a level: nothing turns."""
    noise = 0.02 * np.random.default_rng(5).standard_normal(int(seconds * rate_hz))
    return Capture(amps + noise, rate_hz, source="level")
