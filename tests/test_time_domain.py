"""The time-domain generator obeys its physics: energy, V = R I + k ω, ripples a turn, the trade's levels."""

import ast
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.benchmarks.time_domain import compiled, generate
from tests.benchmarks.time_domain.generating import make_run
from tests.benchmarks.time_domain.integrate import Trace, step_through
from tests.benchmarks.time_domain.judge import report, upper
from tests.benchmarks.time_domain.judging import judged
from tests.benchmarks.time_domain.kinds import Scene
from tests.benchmarks.time_domain.machine import Machine, draw_pump
from tests.benchmarks.time_domain.probe import draw_probe, through_core
from tests.benchmarks.time_domain.supply import Supply, draw_supply

STEP_S, WARM_S, RECORD_S = 2e-5, 0.06, 0.03


def _run(machines: list[Machine], supply: Supply) -> list[Trace]:
    rng = np.random.default_rng(5)
    probe = draw_probe(rng, 8.0, 1e5)
    scenes = [Scene(frozenset(), m, supply, probe, RECORD_S, STEP_S, WARM_S) for m in machines]
    warm = round(WARM_S / STEP_S)
    runs = [make_run(rng, scene, scene.machine) for scene in scenes]
    return step_through(runs, STEP_S, round(0.6 * warm), warm)


def _steady_supply() -> Supply:
    return replace(draw_supply(np.random.default_rng(3)), wander=0.0)


@pytest.fixture(scope="module")
def pumps() -> list[Machine]:
    rng = np.random.default_rng(11)
    pumps = [draw_pump(rng, bars, 2, alike=True) for bars in (7, 8, 9, 12)]
    return [replace(pump, contact_noise=0.0, load_wander=0.0) for pump in pumps]


@pytest.fixture(scope="module")
def traces(pumps: list[Machine]) -> list[Trace]:
    return _run(pumps, _steady_supply())


def test_energy_balance(traces: list[Trace]) -> None:
    for trace in traces:
        energy = dict(trace.energy)
        source = energy.pop("source")
        assert sum(energy.values()) == pytest.approx(source, rel=1e-6)
        assert energy["lost"] < 0.02 * source


@pytest.mark.skipif(compiled.library() is None, reason="no C compiler")
def test_the_compiled_stepping_is_the_same(pumps: list[Machine]) -> None:
    rng, supply = np.random.default_rng(7), replace(_steady_supply(), pwm_hz=4000.0, duty=0.7)
    four = draw_pump(rng, 11, 4)
    worn = replace(pumps[1], bounce_hz=400.0, bounce_s=1e-4, contact_noise=0.3, back_pressure=0.5)
    for machine in (worn, four, replace(pumps[0], locked=True)):
        scene = Scene(frozenset(), machine, supply, draw_probe(rng, 8.0, 1e5), 0.01, STEP_S, 0.01)
        run = make_run(rng, scene, machine)
        steps = run.feed.volts.size
        slow, fast = step_through([run], STEP_S, 300, steps)[0], compiled.step_one(run, STEP_S, 300)
        assert np.abs(slow.current_a - fast.current_a).max() < 1e-3 * np.ptp(slow.current_a)
        assert np.abs(slow.turns - fast.turns).max() < 1e-5
        share, play = np.array([0.01]), np.array([0.7])
        core = through_core(slow.current_a[:, None], share, play)[:, 0]
        assert np.allclose(compiled.core_of(slow.current_a, 0.01, 0.7), core, atol=1e-5)


def test_steady_state_meets_the_algebraic_solution(pumps: list[Machine], traces: list[Trace]) -> None:
    supply = _steady_supply()
    for pump, trace in zip(pumps, traces, strict=True):
        tail = slice(round(WARM_S / STEP_S), None)
        current = float(trace.current_a[tail].mean())
        turns = trace.turns[tail]
        speed = 2 * np.pi * (turns[-1] - turns[0]) / ((turns.size - 1) * STEP_S)
        density = current / pump.brush_width
        contact_v = 2 * (pump.contact_ohm * density + pump.contact_drop_v * density / (density + 0.5))
        volts = current * (supply.wiring_ohm + pump.armature_ohm) + contact_v + pump.emf_v_s * speed
        assert volts == pytest.approx(supply.battery_v, rel=0.05)


@pytest.mark.parametrize(("bars", "poles"), [(8, 2), (7, 2), (10, 4), (9, 4)])
def test_ripples_a_turn_are_the_common_multiple_of_poles_and_bars(bars: int, poles: int) -> None:
    pump = draw_pump(np.random.default_rng(bars), bars, poles, alike=True)
    trace = _run([replace(pump, contact_noise=0.0, load_wander=0.0)], _steady_supply())[0]
    turns = trace.turns[round(WARM_S / STEP_S) :]
    turns = turns - turns[0]
    place = np.arange(2 * 720) / 720
    wave = np.interp(place, turns, trace.current_a[-turns.size :])
    lines = np.abs(np.fft.rfft(wave - wave.mean()))
    assert np.argmax(lines) == 2 * np.lcm(bars, poles)
    assert pump.poles == poles


def test_same_arguments_give_the_same_captures() -> None:
    first, second = generate(4, 2, "short"), generate(4, 2, "short")
    for one, other in zip(first, second, strict=True):
        assert one.sample_rate_hz == other.sample_rate_hz
        assert np.array_equal(one.current_a, other.current_a)
    other = generate(5, 2, "short")
    assert not np.array_equal(first[0].current_a[:100], other[0].current_a[:100])


def test_healthy_pumps_look_like_the_trades() -> None:
    truths = [capture.truth for capture in generate(6, 8, "short")]
    assert 4 < np.median([truth.mean_a() for truth in truths]) < 8
    assert 4500 < np.median([truth.rpm() for truth in truths]) < 7500
    waves = [truth for truth in truths if truth.ripple_a() is not None]
    assert 0.04 < np.median([truth.ripple_a() / truth.mean_a() for truth in waves]) < 0.25


def test_a_dead_wire_and_a_locked_shaft_have_no_speed() -> None:
    for kind in ("noise", "flat_high"):
        truth = generate(7, 1, kind)[0].truth
        assert truth.rpm() is None
        assert truth.ripple_a() is None


def test_unknown_kind_is_refused() -> None:
    with pytest.raises(ValueError, match="none of healthy"):
        generate(1, 1, "healty")


def test_the_generator_knows_nothing_of_the_project() -> None:
    folder = Path(__file__).parent / "benchmarks" / "time_domain"
    for path in folder.glob("*.py"):
        if path.name.startswith("judg"):
            continue
        for node in ast.walk(ast.parse(path.read_text())):
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            assert not any(
                name.split(".")[0] in {"ingest", "analytics", "dashboard", "demo_fleet"} for name in names
            )


def test_the_bound_is_exact() -> None:
    # Clopper & Pearson: with no event in n the upper bound solves (1 - p)^n = 1 - level.
    assert upper(0, 3000) == pytest.approx(1 - 0.05 ** (1 / 3000))
    assert upper(7, 7) == 1.0


def test_a_capture_is_judged_in_every_way_of_its_kind() -> None:
    outcomes = list(judged(generate(8, 1, "noise"), 8))
    assert [o.way for o in outcomes] == ["untold", "told"]
    assert not any(o.answered for o in outcomes)
    assert "noise" in report(outcomes)
