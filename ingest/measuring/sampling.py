"""Which rates and lengths of record can hold a pump's ripple, and what is said of those that can't."""

from __future__ import annotations

from ingest.capture import Note
from ingest.errors import CaptureRefused
from ingest.wording import measuring_notes

AVERAGE_ONLY = "average-only"
# The slowest commutation: 6 segments at 3,400 rpm, the usual band's low end [P: common practice, no source]
SLOWEST_RIPPLE_HZ = 6 * 3400 / 60
LOWEST_RATE_HZ = 2 * SLOWEST_RIPPLE_HZ  # two samples a cycle at least (the sampling theorem)
HIGHEST_RATE_HZ = 50e6  # faster records hold no turn in the samples that are read
LONGEST_S = 10.0  # of the run; more tells nothing more of a turn, and cost must not grow with it
SHORTEST_S = 0.001  # about one ripple of a usual pump: less is not even a sample of its average


def average_only(rate_hz: float) -> Note | None:
    """Return the sentence for a rate at which nothing but the average can be told, None for any other."""
    if LOWEST_RATE_HZ <= rate_hz <= HIGHEST_RATE_HZ:
        return None
    return measuring_notes.average_only(rate_hz, rate_hz < LOWEST_RATE_HZ)


def last_part(samples: int, rate_hz: float) -> Note:
    """Return the sentence for a run of which only the last LONGEST_S is measured."""
    return measuring_notes.last_part_measured(samples / rate_hz, LONGEST_S)


def refuse_too_short(name: str, samples: int, rate_hz: float) -> None:
    """Raise CaptureRefused('too-short') for a record that holds less than SHORTEST_S."""
    if samples < SHORTEST_S * rate_hz * (1 - 1e-9):
        raise CaptureRefused(
            "too-short",
            f"{name}: the record is only {told_time(samples / rate_hz)} long, less than one ripple of a "
            "pump; record 100 ms or more (or is the sample rate wrong?).",
        )


def told_time(seconds: float) -> str:
    """Return a short time in words: "10 µs"."""
    for factor, unit in ((1.0, "s"), (1e-3, "ms"), (1e-6, "µs")):
        if seconds >= factor:
            return f"{seconds / factor:.3g} {unit}"
    return f"{seconds / 1e-9:.3g} ns"
