"""The ring of coils, bars and brushes as a network, solved for every rotor angle at once."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from demo_fleet.motor import Faults, Motor

TURN = 2 * np.pi


@dataclass(frozen=True)
class Network:
    """Step tables over rotor angle.

    step: (angles, bars + 2, bars + 3) maps [coil currents, line current, volts, omega] to
    [new coil currents, new line current, torque]. open_emf: (angles,).
    """

    step: np.ndarray
    open_emf: np.ndarray


@lru_cache(maxsize=16)
def network(motor: Motor, faults: Faults, step_s: float, angles: int = 4096) -> Network:
    """Solve one step of the network at each of `angles` rotor angles."""
    bars = motor.bars
    coil_ohm, coil_h, coil_k, bar_at, bar_ohm, brush_at, brush_ohm = _parts(motor, faults)
    theta = np.arange(angles) * TURN / angles
    emf = coil_k * _coil_shape(motor, theta[:, None] + bar_at + np.pi / bars)  # (angles, bars)

    touch = np.empty((angles, len(brush_at), bars))
    width = motor.brush_bars * TURN / bars
    for b, at in enumerate(brush_at):
        away = np.abs((theta[:, None] + bar_at - at + np.pi) % TURN - np.pi)
        overlap = np.clip((width + TURN / bars * 0.97) / 2 - away, 0, min(width, TURN / bars * 0.97)) / width
        touch[:, b] = overlap / (brush_ohm[b] + bar_ohm * overlap)
    plus, minus = touch[:, 0::2].sum(axis=1), touch[:, 1::2].sum(axis=1)  # (angles, bars), siemens

    keep = coil_h / step_s  # backward Euler: v = R i + L (i - i_old) / step + omega e
    coil_g = np.linalg.inv(np.diag(coil_ohm) + keep)
    line_keep = motor.choke_h / step_s
    line_g = 1 / (faults.line_ohm + line_keep + 1e-6)
    ring = np.eye(bars) - np.roll(np.eye(bars), 1, axis=0)  # (bar, coil): +1 leaves bar k, -1 enters k + 1
    y = np.zeros((angles, bars + 1, bars + 1))
    y[:, :bars, :bars] = ring @ coil_g @ ring.T
    k = np.arange(bars)
    y[:, k, k] += plus + minus + 1e-9
    y[:, k, bars] = y[:, bars, k] = -plus
    y[:, bars, bars] = plus.sum(axis=1) + line_g
    # Right-hand side of y v = source @ [i_old, line_old, volts, omega].
    source = np.zeros((angles, bars + 1, bars + 3))
    source[:, :bars, :bars] = -ring @ coil_g @ keep
    source[:, :bars, bars + 2] = emf @ (ring @ coil_g).T
    source[:, bars, bars] = line_g * line_keep
    source[:, bars, bars + 1] = line_g
    v = np.linalg.solve(y, source)

    step = np.zeros((angles, bars + 2, bars + 3))
    step[:, :bars] = coil_g @ (v[:, :bars] - np.roll(v[:, :bars], -1, axis=1))
    step[:, :bars, :bars] += coil_g @ keep
    step[:, :bars, bars + 2] -= emf @ coil_g.T
    step[:, bars] = -line_g * v[:, bars]
    step[:, bars, bars] += line_g * line_keep
    step[:, bars, bars + 1] += line_g
    step[:, bars + 1] = np.einsum("ak,akj->aj", emf, step[:, :bars])
    return Network(step, _open_emf(emf, plus, minus, coil_ohm, ring))


def _open_emf(
    emf: np.ndarray, plus: np.ndarray, minus: np.ndarray, coil_ohm: np.ndarray, ring: np.ndarray
) -> np.ndarray:
    """Voltage a meter of infinite resistance would read between the brushes, per rad/s; shape (angles,)."""
    angles, bars = emf.shape
    k = np.arange(bars)
    y = np.zeros((angles, bars + 1, bars + 1))
    y[:, :bars, :bars] = ring @ np.diag(1 / coil_ohm) @ ring.T
    y[:, k, k] += plus + minus
    y[:, k, bars] = y[:, bars, k] = -plus
    y[:, bars, bars] = plus.sum(axis=1)
    source = np.zeros((angles, bars + 1, 1))
    source[:, :bars, 0] = (emf / coil_ohm) @ ring.T
    return np.linalg.solve(y, source)[:, bars, 0]


def _coil_shape(motor: Motor, at: np.ndarray) -> np.ndarray:
    """Coil EMF against its mechanical angle from the first brush: odd, half-wave symmetric, peak 1."""
    wave = np.sin(at * motor.poles / 2)
    if motor.ramp_deg == 0:
        return wave
    from_gap_deg = np.degrees(np.arcsin(np.abs(wave)))
    rise = np.clip((from_gap_deg - motor.neutral_deg) / motor.ramp_deg, 0, 1)
    return np.sign(wave) * np.sin(np.pi / 2 * rise) ** 2


def _parts(motor: Motor, faults: Faults) -> tuple[np.ndarray, ...]:
    """Each coil, bar and brush with its own small differences and its fault."""
    bars, poles = motor.bars, motor.poles
    size = 0.0 if motor.alike else motor.spread
    rng = np.random.default_rng((motor.spread_seed, bars, poles))

    def around(middle: float, relative: float, n: int) -> np.ndarray:
        return middle * (1 + size * relative * rng.standard_normal(n).clip(-2.5, 2.5))

    at = np.linspace(0, TURN, 4096, endpoint=False)
    mean_shape = np.mean(np.abs(_coil_shape(motor, at)))
    coil_ohm = around(motor.winding_ohm * poles**2 / bars, 0.012, bars)
    coil_h = _inductances(motor)
    coil_k = around(motor.k_e * poles / bars / mean_shape, 0.004, bars)
    bar_at = np.arange(bars) * TURN / bars + size * np.radians(0.25) * rng.standard_normal(bars).clip(-2, 2)
    bar_ohm = np.abs(around(0.004, 0.4, bars))
    bar_ohm *= 1 + 30 * faults.brush_wear  # a worn brush leaves a rough, unevenly filmed commutator
    brush_ohm = around(motor.contact_ohm * poles / 2, 0.08, poles) * (1 + 0.3 * faults.brush_wear)
    brush_at = np.arange(poles) * TURN / poles + size * np.radians(0.5) * rng.standard_normal(poles)
    if faults.open_coil is not None:
        coil_ohm[faults.open_coil] = 1e6
    if faults.shorted_coil is not None:
        coil_ohm[faults.shorted_coil] *= 0.05
        coil_h[faults.shorted_coil] *= 0.05
        coil_h[:, faults.shorted_coil] *= 0.05
        coil_k[faults.shorted_coil] = 0.0
    if faults.isolated_bar is not None:
        bar_ohm[faults.isolated_bar] = 1e6
    if faults.burnt_bar is not None:
        bar_ohm[faults.burnt_bar] += faults.burnt_ohm
    return coil_ohm, coil_h, coil_k, bar_at, bar_ohm, brush_at, brush_ohm


def _inductances(motor: Motor) -> np.ndarray:
    """Self and mutual inductances of the coils, (bars, bars), H, that make winding_h between the brushes."""
    at = (np.arange(motor.bars) + 0.5) * TURN / motor.bars * motor.poles / 2
    share = np.sign(np.sin(at + 1e-6)) / motor.poles  # of the terminal current, in each coil
    leakage, main = np.eye(motor.bars), np.cos(at[:, None] - at)
    return motor.winding_h * (
        motor.leakage_share * leakage / (share @ leakage @ share)
        + (1 - motor.leakage_share) * main / (share @ main @ share)
    )


def brush_emf(motor: Motor, angle_rad: np.ndarray) -> np.ndarray:
    """Open-circuit EMF between the brushes per rad/s, V*s/rad, at each rotor angle; shape of angle_rad."""
    table = network(motor, Faults(), 1.0).open_emf
    position = np.asarray(angle_rad) / TURN * len(table)
    return table[np.round(position).astype(int) % len(table)]
