"""How a brushed permanent-magnet pump motor answers to volts, pressure and warmth, linearised.

With a = R*I/V', b = dlnT/dln(omega), c = dlnT/dlnp, D = 1 - a + a*b and V' = V - brush drop:
    dln(omega) = (dlnV' - a*c*dlnp - a*dlnR) / D
    dlnI       = b*dln(omega) + c*dlnp
The nominal a, b, c are a typical in-tank pump's (simulated); a fleet's own differences replace them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

BRUSH_DROP_V = 0.7
COPPER_PER_C = 0.00393  # resistance of copper per deg C at 20 deg C (IEC 60028)


@dataclass(frozen=True)
class Sensitivities:
    """Exponents of current and speed on supply volts (less brush drop), pressure and winding resistance."""

    current_volts: float
    current_pressure: float
    current_resistance: float
    speed_volts: float
    speed_pressure: float
    speed_resistance: float


def sensitivities(a: float = 0.27, b: float = 0.3, c: float = 0.6) -> Sensitivities:
    """Return the exponents for a motor with resistance share `a` and load exponents `b`, `c`."""
    d = 1 - a + a * b
    return Sensitivities(
        current_volts=b / d,
        current_pressure=c - a * b * c / d,
        current_resistance=-a * b / d,
        speed_volts=1 / d,
        speed_pressure=-a * c / d,
        speed_resistance=-a / d,
    )


def log_volts_ratio(supply_v: np.ndarray, reference_v: np.ndarray | float) -> np.ndarray:
    """Return ln of motor volts over motor volts at the reference; 0 where either is unknown."""
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = np.log((supply_v - BRUSH_DROP_V) / (reference_v - BRUSH_DROP_V))
    return np.where(np.isfinite(ratio), ratio, 0.0)


def log_ratio(value: np.ndarray, reference: np.ndarray | float) -> np.ndarray:
    """Return ln(value / reference); 0 where either is unknown or not positive."""
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = np.log(value / reference)
    return np.where(np.isfinite(ratio), ratio, 0.0)
