"""The stepping in C, some twenty times as fast, where a compiler is there; it follows `integrate.py`.

`stepper.c` is compiled at first use into the folder of temporary files, once for each of its versions.
"""

import ctypes
import hashlib
import os
import shutil
import subprocess
import tempfile
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tests.benchmarks.time_domain.circuit import ARC_LEAST_A, ARC_RELAX_S, Stack, stack
from tests.benchmarks.time_domain.integrate import LIGHT, OPEN_OHM, Run, Trace, source_v, start_of, wire_ohms
from tests.benchmarks.time_domain.machine import Machine

SOURCE = Path(__file__).with_name("stepper.c")
_D = ctypes.POINTER(ctypes.c_double)
_F = ctypes.POINTER(ctypes.c_float)


@cache
def library() -> ctypes.CDLL | None:
    """The compiled stepper, None without a compiler."""
    compiler = shutil.which("cc") or shutil.which("gcc")
    if compiler is None:
        return None
    name = hashlib.sha256(SOURCE.read_bytes()).hexdigest()[:16]
    path = Path(tempfile.gettempdir()) / f"motor-stepper-{os.getuid()}-{name}.so"
    if not path.exists():
        made = path.with_suffix(f".{os.getpid()}")
        command = [compiler, "-O3", "-shared", "-fPIC", "-fno-math-errno", "-o", made, SOURCE, "-lm"]
        subprocess.run(command, check=True)
        made.replace(path)
    return ctypes.CDLL(str(path))


def step_one(run: Run, step_s: float, light_steps: int) -> Trace:
    """Integrate one motor as `step_through` does, without its energies."""
    motor, machine = stack([run.machine], [run.supply], step_s), run.machine
    steps = run.feed.volts.size
    c = machine.bars
    current, turns = np.empty(steps, np.float32), np.empty(steps)
    series = (
        *(_constants(motor, machine), motor.place, motor.coil_place, motor.emf_v_s, motor.film, motor.brush),
        *(motor.plus, motor.keep, motor.give, motor.push, motor.network[0, : c + 1, : c + 1]),
        *(source_v(run.feed), run.feed.on, wire_ohms(motor, run.feed.open_wire[:, None], step_s)),
        *(run.contact, run.load, run.arc, run.feed.use, start_of(run)),
    )
    kept = [np.ascontiguousarray(values, dtype=float) for values in series]
    found = library()
    assert found is not None
    refused = found.step_motor(
        *(values.ctypes.data_as(_D) for values in kept),
        *(ctypes.c_long(steps), ctypes.c_long(light_steps)),
        *(current.ctypes.data_as(_F), turns.ctypes.data_as(_D)),
    )
    if refused:
        raise ValueError(f"a motor of {c} bars and {machine.poles} poles is too large for the stepper")
    return Trace(current, turns, {})


def core_of(current_a: NDArray, share: float, play_a: float) -> NDArray:
    """What a clamp's hysteresis leaves of a current (steps,): `probe.through_core` of one."""
    out = np.array(current_a, dtype=np.float32)
    found = library()
    assert found is not None
    found.through_core(
        out.ctypes.data_as(_F), ctypes.c_long(out.size), ctypes.c_double(share), ctypes.c_double(play_a)
    )
    return out


def _constants(motor: Stack, machine: Machine) -> NDArray:
    """The numbers of the enumeration in stepper.c, in its order."""
    return np.array(
        [
            *(machine.bars, machine.poles, motor.step_s, machine.field_flatness, machine.field_turn),
            *(machine.field_even, machine.bar_width / 2, machine.brush_width / 2, machine.contact_drop_v),
            *(machine.arc_v, float(motor.wire_h[0]), float(motor.suppressor_f[0]), ARC_RELAX_S, ARC_LEAST_A),
            *(OPEN_OHM, LIGHT, machine.inertia_kg_m2, machine.friction_nm, machine.viscous_nm_s),
            *(machine.pressure_nm, machine.fan_nm_s2, machine.uneven_turn, machine.vanes),
            *(machine.uneven_vane, machine.cogging_nm, machine.rated_rad_s, machine.filling),
            *(machine.back_pressure, machine.regulator_droop, machine.regulator_s, machine.line_s),
            *(machine.leak, machine.locked, np.lcm(machine.bars, machine.poles)),
        ],
        dtype=float,
    )
