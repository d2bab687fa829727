"""What a pump motor is made of, and what can be wrong with it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import lcm


@dataclass(frozen=True)
class Motor:
    """A pump motor and the pump on its shaft. Torques in N*m, temperatures in deg C.

    winding_ohm (copper at 25 deg C) and winding_h are seen between the brushes with all coils in circuit, so
    one coil has winding_ohm * poles**2 / bars. k_e is the whole motor's, V*s/rad. `alike` switches every
    difference between bars, coils and brushes off, exactly; otherwise `spread_seed` draws them, `spread`
    times the usual size.
    """

    bars: int = 8
    poles: int = 2
    winding_ohm: float = 0.80
    winding_h: float = 0.45e-3
    leakage_share: float = 0.05  # of winding_h; the rest is flux the coils share through the iron
    k_e: float = 0.0142
    neutral_deg: float = 17.0  # electrical; no EMF this far either side of the gap between the magnets
    ramp_deg: float = 45.0  # then rising to the flat top under the magnet over this; 0: a plain sine instead
    brush_bars: float = 1.1  # brush width in bar pitches
    contact_ohm: float = 0.10  # one brush over its full width
    brush_drop_v: float = 0.35  # constant part of the drop, per brush
    choke_h: float = 60e-6  # interference choke and leads
    inertia_kg_m2: float = 1.0e-5
    friction_nm: float = 0.0062
    viscous_nm_s: float = 3.05e-5
    displacement_m3: float = 6.0e-7  # a turn, leakage and pressure-borne friction included
    once_per_turn: float = 0.02  # part of the pressure torque that pulsates with the shaft
    vanes: int = 7
    vane_pulsation: float = 0.03
    rated_kpa: float = 400.0
    alike: bool = False
    spread: float = 1.0
    spread_seed: int = 0

    @property
    def ripples_per_turn(self) -> int:
        """lcm(poles, bars): C for even, 2C for odd bars with two poles."""
        return lcm(self.poles, self.bars)

    @property
    def electrical(self) -> Motor:
        """The same motor without what the network doesn't know: equal ones share its tables."""
        return replace(
            self,
            brush_drop_v=0.0,
            inertia_kg_m2=1.0,
            friction_nm=0.0,
            viscous_nm_s=0.0,
            displacement_m3=0.0,
            once_per_turn=0.0,
            vanes=0,
            vane_pulsation=0.0,
            rated_kpa=0.0,
        )


@dataclass(frozen=True)
class Faults:
    """What is wrong. Bars and coils count from 0; severities: 0 none, 1 severe unless a unit is named."""

    open_coil: int | None = None
    shorted_coil: int | None = None  # its turns are bridged: out of the circuit
    isolated_bar: int | None = None  # never touched by a brush
    burnt_bar: int | None = None
    burnt_ohm: float = 0.5  # added to the burnt bar's contact
    brush_wear: float = 0.0  # raises contact resistance, drop and sparking
    drag: float = 0.0  # friction added, in parts of the rated torque
    restriction: float = 0.0  # pressure added behind the pump, in parts of the rated one at rated flow
    dry: float = 0.0  # 1: nothing but vapour to pump
    starved: float = 0.0  # 1: bubbles through the strainer, load falls and fluctuates
    line_ohm: float = 0.0  # bad ground or feed, in series


FAULTS: dict[str, Faults] = {
    "healthy": Faults(),
    "open coil": Faults(open_coil=2),
    "shorted coil": Faults(shorted_coil=2),
    "isolated bar": Faults(isolated_bar=2),
    "burnt bar": Faults(burnt_bar=2),
    "worn brushes": Faults(brush_wear=1.0),
    "drag": Faults(drag=0.35),
    "restriction": Faults(restriction=0.5),
    "dry": Faults(dry=1.0),
    "starved": Faults(starved=0.6),
    "bad ground": Faults(line_ohm=0.45),
}
