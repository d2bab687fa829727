"""Many motors as one stack of arrays: coils in a ring between bars, brushes on bars, a wire to the source.

Backward Euler over one step turns each coil into a resistance and a source, so a step is one small linear
system per motor for the volts of its bars and of its plus brushes. Motors with fewer bars are padded.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.benchmarks.time_domain.machine import Machine
from tests.benchmarks.time_domain.supply import Supply

LEAK_S = 1e-5  # of each bar to the case: keeps a bar without brush defined
ARC_RELAX_S = 8e-6
ARC_LEAST_A = 0.05


@dataclass(frozen=True)
class Stack:
    """n motors, c bars (padded), b brushes. What a motor lacks is zero, a padded bar stands apart."""

    step_s: float
    bars: NDArray  # (n, 1)
    used: NDArray  # (n, c)
    before: NDArray  # (n, c) index of the bar before
    place: NDArray  # (n, c) bar centres, rad
    coil_place: NDArray  # (n, c) coil axes, rad
    emf_v_s: NDArray  # (n, c)
    inductance: NDArray  # (n, c, c)
    coil_ohm: NDArray  # (n, c)
    keep: NDArray  # (n, c, c): coil currents' share in the next step's
    give: NDArray  # (n, c, c): volts across coils to currents
    push: NDArray  # (n, c, c): bar volts to currents
    network: NDArray  # (n, c + 1, c + 1): what stays of the nodal matrix
    across_s: NDArray  # (n, c) iron and shorts across each coil
    poles: NDArray  # (n, 1)
    flatness: NDArray  # (n, 1)
    field_turn: NDArray
    field_even: NDArray
    half_bar: NDArray  # (n, 1, 1) bar pitches
    half_brush: NDArray
    brush: NDArray  # (n, 1, b) rad
    plus: NDArray  # (b,) 1 where the brush is on the feed
    film: NDArray  # (n, c, 1) Ω for a bar fully covered
    drop_v: NDArray  # (n, 1, 1)
    arc_v: NDArray
    wire_ohm: NDArray  # (n,)
    wire_h: NDArray
    suppressor_f: NDArray


def stack(machines: Sequence[Machine], supplies: Sequence[Supply], step_s: float) -> Stack:
    """Lay motors of one number of poles side by side."""
    count, width = len(machines), max(machine.bars for machine in machines)
    poles = machines[0].poles
    if any(machine.poles != poles for machine in machines):
        raise ValueError("a stack holds motors of one number of poles")
    bars = np.array([machine.bars for machine in machines])[:, None]
    number = np.arange(width)[None, :]
    used = (number < bars).astype(float)
    pitch = 2 * np.pi / bars

    def padded(name: str) -> NDArray:
        out = np.zeros((count, width))
        for row, machine in zip(out, machines, strict=True):
            row[: machine.bars] = getattr(machine, name)
        return out

    def each(name: str) -> NDArray:
        return np.array([[getattr(machine, name)] for machine in machines], dtype=float)

    coil_place = (number + 0.5) * pitch + padded("coil_angle_rad")
    apart = coil_place[:, :, None] - coil_place[:, None, :]
    air = each("coil_mutual")[:, :, None]
    electric = poles / 2
    inductance = each("coil_self_h")[:, :, None] * (
        air * np.cos(electric * apart) + (1 - air) * np.eye(width)
    )
    inductance *= used[:, :, None] * used[:, None, :]
    coil_ohm = padded("coil_ohm")
    blank = np.eye(width) * (1 - used)[:, :, None]
    give = np.linalg.inv(inductance / step_s + coil_ohm[:, :, None] * np.eye(width) + blank)
    give *= used[:, :, None] * used[:, None, :]
    across = np.zeros((count, width, width))  # bar volts to coil volts
    after = np.where(number + 1 < bars, number + 1, 0)
    for motor in range(count):
        for coil in range(int(bars[motor, 0])):
            across[motor, coil, coil] += 1
            across[motor, coil, after[motor, coil]] -= 1
    push = give @ across
    across_s = (each("iron_s") + padded("coil_short_s")) * used
    network = np.zeros((count, width + 1, width + 1))
    turned = across.transpose(0, 2, 1)
    network[:, :width, :width] = turned @ push + turned @ (across_s[:, :, None] * across) + blank
    network[:, np.arange(width), np.arange(width)] += LEAK_S
    return Stack(
        step_s=step_s,
        bars=bars,
        used=used,
        before=np.where(number > 0, number - 1, bars - 1) * (number < bars) + number * (number >= bars),
        place=number * pitch,
        coil_place=coil_place,
        emf_v_s=padded("coil_emf_v_s"),
        inductance=inductance,
        coil_ohm=coil_ohm,
        keep=give @ inductance / step_s,
        give=give,
        push=push,
        network=network,
        across_s=across_s,
        poles=np.full((count, 1), float(poles)),
        flatness=each("field_flatness"),
        field_turn=each("field_turn"),
        field_even=each("field_even"),
        half_bar=each("bar_width")[:, :, None] / 2,
        half_brush=each("brush_width")[:, :, None] / 2,
        brush=np.array([machine.brush_angle_rad for machine in machines])[:, None, :],
        plus=(np.arange(poles) % 2 == 0).astype(float),
        film=(each("contact_ohm") * np.where(used > 0, padded("bar_film"), 1.0))[:, :, None],
        drop_v=each("contact_drop_v")[:, :, None],
        arc_v=each("arc_v")[:, :, None],
        wire_ohm=np.array([supply.wiring_ohm for supply in supplies]),
        wire_h=np.array([supply.wiring_h for supply in supplies]),
        suppressor_f=np.array([supply.suppressor_f for supply in supplies]),
    )


def field(motors: Stack, angle: NDArray) -> NDArray:
    """Field each coil meets at shaft `angle` (n, 1), of the flat top, shape (n, c)."""
    mechanical = angle + motors.coil_place
    electric = 0.5 * motors.poles * mechanical
    sine = np.sin(electric)
    met = np.tanh(motors.flatness * sine * sine * sine) / np.tanh(motors.flatness)
    if motors.field_turn.any():
        met += motors.field_turn * np.sin(mechanical + 1.0)
    return met + 2 * motors.field_even * sine * np.cos(electric)


def covered(motors: Stack, angle: NDArray) -> NDArray:
    """Share of each bar under each brush, in bar pitches, shape (n, c, b)."""
    pitches = motors.bars[:, :, None]
    off = (angle + motors.place)[:, :, None] - motors.brush
    off *= pitches / (2 * np.pi)
    off -= pitches * np.round(off / pitches)
    reach = motors.half_bar + motors.half_brush
    cover = np.minimum(reach - np.abs(off), 2 * np.minimum(motors.half_bar, motors.half_brush))
    return np.maximum(cover, 0.0) * motors.used[:, :, None]
