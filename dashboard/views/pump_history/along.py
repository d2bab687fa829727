"""What a pump's charts run along."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

FAN_INTERVALS = 3  # how far ahead charts reach at least, in visits


@dataclass(frozen=True)
class Axis:
    """What the charts run along: `km` of the pump's clock per `unit`, beginning at `start_km` of it."""

    title: str
    unit: str
    km: float
    per: int
    start_km: float = 0.0

    def place(self, clock_km: Any) -> Any:
        """Return where a distance of the pump's clock lies on the axis."""
        return (clock_km - self.start_km) / self.km

    def length(self, km: float) -> str:
        """Return a stretch of the pump's clock in words: "12,000 mi"."""
        return f"{float(f'{km / self.km:.2g}'):,.0f} {self.unit}"
