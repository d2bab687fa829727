"""Pump designs: the motor's steady state, and what each way of wearing out does to amps, speed and ripple.

Motor: V' = I R + k w, torque = k I, torque = base * w^b * p^c * exp(extra load). In logarithms, with
a = I R / V' at the reference (13.5 V, rated pressure, 25 degC):

    D dlnw = dlnV' - a (c dlnp + load) - a dlnR + (2 a - 1) dlnk,   D = 1 - a + a b
    dlnI   = b dlnw + c dlnp + load - dlnk

Numbers are plausible for automotive pumps (3-10 A, 4,000-8,000 rpm, 7-12 bars) and invented; no source. Each
mechanism acts through the parameter that it changes in the machine, so its signature in amps and speed
follows from the design's own a, b, c; ripple points are the design's own. Damage 1 is a typical level of
failure.

- brush: contact drop up, so amps and speed both down; ripple by .3 to 2 points (an 8-fold span over designs).
- commutator: one bar rises or burns: ripple jumps, then grows; speed a little down.
- drag: bearing wear, swarf: load up, so amps up and speed down.
- hydraulic: clearances open: load down, so amps down and speed up; delivery falls, then pressure.
- winding: shorted turns (k and R down: amps and speed up) or an open coil (R up, ripple jumps).
- sudden: a broken lead, a seized rotor, a lost terminal: nothing to see before.
- fitting: an installation fault, within 3,000 km of the change: nothing to see before.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

MECHANISMS = ("brush", "commutator", "drag", "hydraulic", "winding", "sudden", "fitting")
BRUSH, COMMUTATOR, DRAG, HYDRAULIC, WINDING, SUDDEN, FITTING = range(7)
SEEN = 5  # the first five show in readings
REFERENCE_V = 13.5
BRUSH_V = 1.0  # contact drop of both brushes of a new pump


@dataclass(frozen=True)
class Design:
    """One pump type: healthy point, motor constants, signatures at damage 1 and life factors by mechanism."""

    name: str
    supply: str
    fuel: str
    bars: int
    amps: float
    rpm: float
    ripple: float  # % of mean
    a: float
    b: float
    c: float
    rated_kpa: float
    delivery: float  # l/min at rated pressure
    brush_v: float
    brush_ripple: float
    burn_ripple: float
    burn_load: float
    drag_load: float
    drag_ripple: float
    hydraulic_load: float
    hydraulic_ripple: float
    hydraulic_delivery: float
    short_share: float  # of winding damage, the rest are open coils
    winding_ripple: float
    life: tuple[float, float, float, float, float, float]  # brush … sudden, factor on life
    lead_time_days: int
    price: float


#                name     supply       fuel      bars amps  rpm  rip  a    b    c   kPa  l/min
DESIGNS = (
    Design("P-ALDER", "direct", "petrol", 8, 6.2, 6100, 8.2, 0.30, 0.30, 0.60, 400, 2.3,
           1.25, 0.9, 4.5, 0.02, 0.17, 0.3, -0.15, 0.3, 0.42, 0.6, 4.0,
           (1.0, 0.8, 1.2, 1.1, 1.0, 1.0), 2, 310.0),
    Design("P-BIRCH", "direct", "petrol", 7, 4.6, 7200, 3.6, 0.24, 0.45, 0.45, 350, 1.9,
           1.05, 0.25, 1.6, 0.02, 0.20, 0.1, -0.11, 0.1, 0.46, 0.8, 1.5,
           (0.9, 1.3, 1.0, 1.2, 1.2, 1.0), 1, 265.0),
    Design("P-CEDAR", "direct", "E10", 10, 8.4, 5300, 6.4, 0.34, 0.20, 0.70, 450, 3.1,
           1.60, 0.6, 3.0, 0.03, 0.13, 0.4, -0.19, 0.5, 0.36, 0.5, 3.0,
           (1.2, 1.0, 0.85, 0.85, 0.8, 1.0), 6, 365.0),
    Design("P-DOGWOOD", "two-speed", "petrol", 12, 5.3, 6700, 5.0, 0.27, 0.35, 0.55, 380, 2.2,
           1.10, 1.4, 3.6, 0.02, 0.15, 0.3, -0.13, 0.2, 0.40, 0.6, 2.5,
           (0.85, 1.1, 1.1, 1.1, 1.0, 0.9), 4, 335.0),
    Design("P-ELM", "pwm", "petrol", 9, 7.1, 7600, 4.4, 0.22, 0.40, 0.50, 500, 2.7,
           1.20, 0.35, 2.0, 0.02, 0.22, 0.1, -0.12, 0.2, 0.44, 0.7, 1.8,
           (1.1, 1.1, 1.0, 0.9, 1.0, 1.1), 8, 395.0),
    Design("P-FIR", "direct", "diesel", 8, 3.4, 4500, 9.6, 0.36, 0.25, 0.50, 110, 3.4,
           1.40, 2.0, 5.5, 0.03, 0.19, 0.8, -0.20, 0.6, 0.38, 0.5, 4.5,
           (1.1, 0.9, 1.0, 0.9, 1.1, 1.0), 3, 280.0),
)  # fmt: skip

_COLUMNS = {
    name: np.array([getattr(design, name) for design in DESIGNS])
    for name in Design.__annotations__
    if name not in ("name", "supply", "fuel", "life")
}
LIFE = np.array([design.life for design in DESIGNS])
SUPPLY = np.array([("direct", "two-speed", "pwm").index(design.supply) for design in DESIGNS])


def column(name: str, design: np.ndarray) -> np.ndarray:
    """A number of each pump's design."""
    return _COLUMNS[name][design]


def respond(
    design: np.ndarray,
    volts: np.ndarray | float,
    pressure: np.ndarray | float = 0.0,
    load: np.ndarray | float = 0.0,
    resistance: np.ndarray | float = 0.0,
    strength: np.ndarray | float = 0.0,
) -> tuple[np.ndarray, np.ndarray]:
    """ln(amps) and ln(rpm) above the design's healthy point.

    volts: dlnV'; pressure: dlnp; load: extra torque in logarithm; resistance: dlnR; strength: dlnk.
    """
    a, b, c = column("a", design), column("b", design), column("c", design)
    speed = volts - a * (c * pressure + load) - a * resistance + (2 * a - 1) * strength
    speed = speed / (1 - a + a * b)
    return b * speed + c * pressure + load - strength, speed


def log_volts(volts: np.ndarray, lost: np.ndarray | float = 0.0) -> np.ndarray:
    """dlnV' of a pump fed with `volts` whose brushes drop `lost` more than new ones."""
    return np.log(np.maximum(volts - BRUSH_V - lost, 2.0) / (REFERENCE_V - BRUSH_V))


def pump_effects(design: np.ndarray, damage: np.ndarray, is_short: np.ndarray) -> dict[str, np.ndarray]:
    """What damage (…, SEEN) does to the machine: brush_v, load, resistance, strength, ripple, delivery."""
    brush, burn, drag, leak, winding = np.moveaxis(np.minimum(damage, 2.5), -1, 0)
    short, opened = np.where(is_short, winding, 0.0), np.where(is_short, 0.0, winding)
    # A brush near its end bounces: its ripple grows faster than its drop.
    return {
        "brush_v": column("brush_v", design) * brush,
        "load": column("burn_load", design) * burn
        + column("drag_load", design) * drag
        + column("hydraulic_load", design) * leak,
        "resistance": 0.05 * brush + 0.03 * burn + 0.16 * opened - 0.08 * short,
        "strength": -0.07 * short,
        "ripple": column("brush_ripple", design) * brush * np.sqrt(brush)
        + column("burn_ripple", design) * burn
        + column("drag_ripple", design) * drag
        + column("hydraulic_ripple", design) * leak
        + column("winding_ripple", design) * (0.4 * short + 1.6 * opened),
        "delivery": -column("hydraulic_delivery", design) * leak,
    }
