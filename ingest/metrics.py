"""What is measured at a visit and followed over a pump's life: one row a metric.

Columns of a fleet folder, drift lines, charts and the tables that compare readings follow from here.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Metric:
    """One figure of a capture or visit.

    name: field of a Reading, and the column of a visit's rows; error: that of its standard error.
    words, unit, digits: how it is said and written.
    folder: lowest and highest a fleet folder may tell of one measured elsewhere; None: not told there.
    trends: it gets a drift line. relative: its changes are worked on as logarithms.
    scatter: of one reading about a pump's line at least (of its ln where relative). open_exponents: by how
    much volts, pressure and warmth may move it other than nominally, sd (common practice, no source); 0: not.
    low, high: columns of the type's limits, or settings; low_words, high_words: what those are called.
    """

    name: str
    words: str
    unit: str
    digits: int = 2
    error: str = ""
    folder: tuple[float, float] | None = None
    trends: bool = False
    relative: bool = False
    scatter: float = 0.0
    open_exponents: float = 0.0
    low: str = ""
    high: str = ""
    low_words: str = ""
    high_words: str = ""

    @property
    def title(self) -> str:
        """Words and unit, as over a chart."""
        return f"{self.words}, {self.unit}"


METRICS = (
    Metric("mean_a", "average current", "A", error="mean_a_se", folder=(0, 100), trends=True, relative=True,
           scatter=0.01, open_exponents=0.15, low="current_low_a", high="current_high_a",
           low_words="low end of specification", high_words="high end of specification"),
    Metric("ripple_pct", "ripple", "% of average", 1, error="ripple_pct_se", folder=(0, 1000), trends=True,
           scatter=0.5, open_exponents=3.0, high="ripple_limit_pct", high_words="ripple limit"),
    Metric("rpm", "speed", "rpm", 0, error="rpm_se", folder=(0, 60_000), trends=True, relative=True,
           scatter=0.005, open_exponents=0.15, low="rpm_low", high="rpm_high",
           low_words="low speed limit", high_words="high speed limit"),
    Metric("min_a", "lowest current", "A", folder=(-100, 100)),
    Metric("max_a", "highest current", "A", folder=(-100, 200)),
    Metric("ripple_a", "ripple, peak to peak", "A", folder=(0, 200)),
    Metric("revolution_ms", "one revolution", "ms", 3),
)  # fmt: skip


def metric(name: str) -> Metric:
    """Return the metric of that name."""
    return next(m for m in METRICS if m.name == name)


def trended() -> tuple[Metric, ...]:
    """Return the metrics that get drift lines and charts."""
    return tuple(m for m in METRICS if m.trends)
