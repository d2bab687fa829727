"""One brushed permanent-magnet motor with its pump or fan: what it is made of, and how one is drawn.

Lap winding: a ring of `bars` coils, coil k between bar k and bar k + 1, as many parallel paths as poles
and one brush per pole. A machine is designed from what the trade knows of it (mean current, speed,
volts) and from the share of the volts lost in copper; resistances, EMF constant and torque follow from
V = R I + k ω.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

RPM = 2 * np.pi / 60
BAR_COUNTS = np.array([6, 7, 8, 9, 10, 11, 12, 13, 14])
BAR_WEIGHTS = {
    2: np.array([0.06, 0.09, 0.34, 0.09, 0.14, 0.08, 0.12, 0.04, 0.04]),
    4: np.array([0, 0, 0, 0.1, 0.3, 0.1, 0.25, 0.05, 0.2]),  # fewer leave a path of two coils or less
}


@dataclass(frozen=True)
class Machine:
    """Constants of one motor and its load; arrays have one entry per coil or bar, or per brush."""

    bars: int
    poles: int
    coil_ohm: NDArray
    coil_emf_v_s: NDArray  # volts per rad/s at the flat top of the field
    coil_angle_rad: NDArray  # what each coil lies off its even place
    coil_short_s: NDArray  # conductance across a coil (a short), else 0
    coil_self_h: float
    coil_mutual: float  # share of the self inductance that couples through the air gap
    iron_s: float  # eddy losses, a conductance across each coil
    field_flatness: float  # β of tanh(β sin³)/tanh β: a neutral zone between the magnets, then flat
    field_turn: float  # once-per-turn unevenness of the field, of the flat top (poles unequal; 4 poles only)
    field_even: float  # second harmonic of the field, of the flat top
    bar_width: float  # all widths in bar pitches
    brush_width: float
    brush_angle_rad: NDArray
    bar_film: NDArray  # contact resistance of each bar, times the healthy one
    contact_ohm: float  # one bar fully under a brush
    contact_drop_v: float
    arc_v: float
    bounce_hz: float  # random lifts per brush
    bounce_s: float
    bounce_keeps: float  # share of the contact left in a lift
    contact_noise: float  # sd of ln contact conductance
    inertia_kg_m2: float
    friction_nm: float
    viscous_nm_s: float
    pressure_nm: float  # torque at rated pressure
    fan_nm_s2: float  # torque ∝ ω²
    uneven_turn: float  # share of the pressure torque, once per turn
    vanes: int
    uneven_vane: float
    cogging_nm: float
    load_wander: float
    rated_rad_s: float
    filling: float  # 1 full of liquid, near 0 dry
    back_pressure: float  # rise of pressure ahead of the regulator at rated flow, of the rated pressure
    regulator_droop: float  # rise of pressure from closed to rated flow, of the rated pressure
    regulator_s: float
    line_s: float  # time in which rated flow would raise the line by the rated pressure
    leak: float
    locked: bool = False

    @property
    def armature_ohm(self) -> float:
        """Resistance between brushes without contacts: bars / poles coils a path, poles paths."""
        return float(np.mean(self.coil_ohm)) * self.bars / self.poles**2

    @property
    def emf_v_s(self) -> float:
        """EMF between brushes per rad/s, mean over a turn."""
        return float(np.mean(self.coil_emf_v_s)) * mean_field(self.field_flatness) * self.bars / self.poles


def mean_field(flatness: float) -> float:
    """Mean of |tanh(β sin³ φ)| / tanh β over a pole."""
    angle = (np.arange(720) + 0.5) * np.pi / 720
    return float(np.mean(np.tanh(flatness * np.sin(angle) ** 3)) / np.tanh(flatness))


@dataclass(frozen=True)
class Rating:
    """What a motor is designed for."""

    current_a: float
    speed_rpm: float
    supply_v: float
    copper_share: float  # a = R I / V'


def draw_bars(rng: np.random.Generator, odd: bool | None = None, poles: int = 2) -> int:
    """Bars, 8 likeliest; odd or even ones only where asked."""
    weights = BAR_WEIGHTS[poles].copy()
    if odd is not None:
        weights[(BAR_COUNTS % 2 == 1) != odd] = 0.0
    return int(rng.choice(BAR_COUNTS, p=weights / weights.sum()))


def draw_pump(rng: np.random.Generator, bars: int, poles: int, alike: bool = False) -> Machine:
    """A healthy pump of the trade: 4–8 A, 4,500–7,500 rpm at 13 V (TRADE: common practice and web pages).

    `alike`: no coil, bar, pole or turn differs from the next.
    """
    rating = Rating(
        rng.uniform(4.0, 8.0),
        float(np.clip(rng.normal(6300, 700), 4900, 7700)),
        13.0,
        rng.uniform(0.18, 0.34),
    )
    machine = design(rng, rating, bars, poles)
    return level(machine) if alike else machine


def draw_fan(rng: np.random.Generator) -> Machine:
    """A fan or blower motor: slower, heavier, torque growing with the square of speed."""
    poles = int(rng.choice([2, 4]))
    bars = int(rng.choice([10, 12, 16] if poles == 2 else [12, 16, 20]))
    rating = Rating(rng.uniform(4.0, 14.0), rng.uniform(1600, 3800), 13.0, rng.uniform(0.15, 0.3))
    machine = design(rng, rating, bars, poles)
    torque = machine.emf_v_s * rating.current_a
    speed = rating.speed_rpm * RPM
    return replace(
        machine,
        inertia_kg_m2=machine.inertia_kg_m2 * rng.uniform(3, 8),
        friction_nm=0.1 * torque,
        viscous_nm_s=0.0,
        pressure_nm=0.0,
        fan_nm_s2=0.9 * torque / speed**2,
        cogging_nm=torque * rng.uniform(0.005, 0.03),
    )


def design(rng: np.random.Generator, rating: Rating, bars: int, poles: int) -> Machine:
    """A motor that meets its rating, with the small unevenness that every winding has."""
    drop_v = rng.uniform(0.12, 0.4)
    contact_ohm = rng.uniform(0.02, 0.06)
    supply_v = rating.supply_v - 2 * drop_v - 2 * contact_ohm * rating.current_a
    speed = rating.speed_rpm * RPM
    flatness = rng.uniform(2.0, 6.0)
    armature_ohm = rating.copper_share * supply_v / rating.current_a
    emf_v_s = (1 - rating.copper_share) * supply_v / speed
    coil_ohm = armature_ohm * poles**2 / bars
    coil_emf = emf_v_s * poles / (bars * mean_field(flatness))
    electric_s = rng.uniform(0.25, 0.8) * 1e-3
    torque = emf_v_s * rating.current_a
    friction, viscous, pressure = rng.dirichlet([8, 5, 20])
    spread = rng.uniform(0.002, 0.02)
    return Machine(
        bars=bars,
        poles=poles,
        coil_ohm=coil_ohm * (1 + spread * rng.standard_normal(bars)),
        coil_emf_v_s=coil_emf * (1 + 0.5 * spread * rng.standard_normal(bars)),
        coil_angle_rad=rng.uniform(0.1, 0.6) * spread * rng.standard_normal(bars),
        coil_short_s=np.zeros(bars),
        coil_self_h=electric_s * armature_ohm * poles**2 / bars,
        coil_mutual=rng.uniform(0.2, 0.5),
        iron_s=1 / rng.uniform(150, 600),
        field_flatness=flatness,
        field_turn=rng.uniform(0.0, 0.02) if poles > 2 else 0.0,
        field_even=rng.uniform(0.0, 0.02),
        bar_width=rng.uniform(0.84, 0.94),
        brush_width=float(np.clip(np.deg2rad(rng.uniform(28, 50)) * bars / np.pi / poles, 0.7, 1.6)),
        brush_angle_rad=2 * np.pi * np.arange(poles) / poles
        + np.deg2rad(rng.uniform(-4, 4))
        + np.deg2rad(0.7) * rng.standard_normal(poles),
        bar_film=np.exp(0.06 * rng.standard_normal(bars)),
        contact_ohm=contact_ohm,
        contact_drop_v=drop_v,
        arc_v=rng.uniform(9, 14),
        bounce_hz=rng.uniform(0, 3),
        bounce_s=rng.uniform(20, 80) * 1e-6,
        bounce_keeps=rng.uniform(0.1, 0.5),
        contact_noise=rng.uniform(0.02, 0.1),
        inertia_kg_m2=rng.uniform(8, 30) * 1e-3 * emf_v_s**2 / armature_ohm,
        friction_nm=friction * torque,
        viscous_nm_s=viscous * torque / speed,
        pressure_nm=pressure * torque,
        fan_nm_s2=0.0,
        uneven_turn=rng.uniform(0.0, 0.03),
        vanes=int(rng.choice([5, 6, 7, 9, 11, 31, 37])),
        uneven_vane=rng.uniform(0.0, 0.04),
        cogging_nm=torque * rng.uniform(0.0, 0.04),
        load_wander=rng.uniform(0.001, 0.006),
        rated_rad_s=speed,
        filling=1.0,
        back_pressure=0.0,
        regulator_droop=rng.uniform(0.06, 0.15),
        regulator_s=rng.uniform(0.5, 2.0) * 1e-3,
        line_s=rng.uniform(15, 40) * 1e-3,
        leak=rng.uniform(0.1, 0.4),
    )


def level(machine: Machine) -> Machine:
    """The same motor with nothing that tells one coil, bar, pole or turn from the next."""
    bars, poles = machine.bars, machine.poles
    shift = float(np.mean(machine.brush_angle_rad - 2 * np.pi * np.arange(poles) / poles))
    return replace(
        machine,
        coil_ohm=np.full(bars, machine.coil_ohm.mean()),
        coil_emf_v_s=np.full(bars, machine.coil_emf_v_s.mean()),
        coil_angle_rad=np.zeros(bars),
        bar_film=np.ones(bars),
        brush_angle_rad=2 * np.pi * np.arange(poles) / poles + shift,
        field_turn=0.0,
        field_even=0.0,
        uneven_turn=0.0,
        uneven_vane=0.0,
        cogging_nm=0.0,
        bounce_hz=0.0,
    )
