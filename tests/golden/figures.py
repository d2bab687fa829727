"""The figures to keep: twelve captures measured, and a small fleet fitted, ranked, planned and reviewed."""

from __future__ import annotations

import json
import math
import tempfile
from collections.abc import Callable
from dataclasses import asdict, replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from analytics.cost_review import policy_review
from analytics.cost_review.costs import cost_review
from analytics.learning.fitting import fit_history
from analytics.money import decision
from analytics.past.history import load_history
from analytics.risk.ranking import rank
from analytics.scheduling.planning import plan
from analytics.wear_model import model
from ingest.capture import Capture
from ingest.known_pump import KnownPump
from ingest.measuring import measurement
from tests.ledger_fixture import LAST_VISIT, build_ledger

# Sentences may be put better without any figure changing.
SENTENCES = {
    "reason",
    "action_text",
    "step_text",
    "finding_text",
    "next_test",
    "text",
    "why",
    "cautions",
    "note",
    "notes",
}


def drawn(
    *,
    bars: int = 8,
    turn_hz: float = 97.3,
    mean_a: float = 4.3,
    weak: float = 1.0,
    once: float = 0.02,
    sparks: int = 0,
    hum_a: float = 0.0,
    off_s: float = 0.0,
    seconds: float = 0.3,
    rate_hz: float = 50_000.0,
    step_a: float = 0.005,
) -> Capture:
    """A hump for each bar, each of a height of its own (`weak`: of the third, among its like), `once` a turn,
    noise and codes; by formula, so that no simulator moves it."""
    rng = np.random.default_rng(11)
    t = np.arange(int(seconds * rate_hz)) / rate_hz
    turn = turn_hz * t + 0.002 * np.sin(2 * np.pi * 7 * t)
    humps = bars if bars % 2 == 0 else 2 * bars
    place = (turn * humps) % humps
    height = 1 + 0.04 * np.sin(np.arange(bars) * 2.4)
    height[2 % bars] *= weak
    shape = np.abs(np.sin(np.pi * (place % 1)))
    current = mean_a + 0.5 * (height[place.astype(int) % bars] * shape - 0.64)
    current += once * np.cos(2 * np.pi * turn) + 0.03 * np.cos(4 * np.pi * turn + 1)
    current += hum_a * np.cos(2 * np.pi * 1234.5 * t) + 0.01 * rng.standard_normal(len(t))
    for at in rng.integers(200, len(t) - 200, sparks):
        current[at : at + 30] -= 1.5 * np.exp(-np.arange(30) / 5)
    off = 0.012 + 0.01 * rng.standard_normal(int(off_s * rate_hz))
    return Capture(np.round(np.concatenate([off, current]) / step_a) * step_a, rate_hz, source="drawn")


def captures() -> dict[str, tuple[Capture, KnownPump]]:
    """Twelve captures, and what is told of each pump."""
    told = KnownPump(segments=8)
    made = {
        "bars told": (drawn(), told),
        "bars untold": (drawn(), KnownPump()),
        "last speed told": (drawn(), KnownPump(previous_rpm=5800.0, previous_supply_v=13.5, supply_v=13.6)),
        "zero in the record": (drawn(off_s=0.05), told),
        "bad bar": (drawn(weak=0.3), told),
        "odd bars": (drawn(bars=7), KnownPump(segments=7)),
        "sparks": (drawn(sparks=12), told),
        "slow pump": (drawn(turn_hz=41.7), replace(told, rpm_low=2000.0)),
        "foreign line": (drawn(hum_a=0.08), told),
        "coarse codes": (drawn(step_a=0.2), told),
        "short": (drawn(seconds=0.04), told),
        "nothing turns": (
            Capture(drawn().current_a * 0 + 4 + 0.02 * _noise(), 50_000.0, source="level"),
            told,
        ),
    }
    assert len(made) == 12
    return made


def _noise() -> np.ndarray:
    return np.random.default_rng(5).standard_normal(15_000)


def readings() -> dict[str, Any]:
    """Every field of each reading; of a note its code."""
    out = {}
    for name, (capture, known) in captures().items():
        reading = asdict(measurement.measure(capture, known))
        reading["notes"] = sorted(note["code"] for note in reading["notes"])
        out[name] = reading
    return out


def _with_ledger(work: Callable[[Path], Any]) -> Any:
    with tempfile.TemporaryDirectory() as folder:
        return work(build_ledger(Path(folder) / "fleet.duckdb"))


def fitted() -> dict[str, Any]:
    """The parameters learned from the small fleet, and its lines."""
    made = _with_ledger(lambda ledger: fit_history(load_history(ledger)))
    lines = {metric: found.to_plain() if found else None for metric, found in made.drift.items()}
    return {"parameters": json.loads(made.parameters.to_json()), "lines": lines}


def ranked() -> list[dict[str, Any]]:
    """The list of the small fleet on its last day."""
    return _rows(_with_ledger(lambda ledger: rank(ledger, as_of=LAST_VISIT)), ["unit", "position"])


def planned() -> dict[str, Any]:
    """Its plan that day."""
    made = _with_ledger(lambda ledger: plan(ledger, as_of=LAST_VISIT))
    frames = ("lines", "checks", "unplaced", "waiting", "bays", "parts")
    out: dict[str, Any] = {name: _rows(getattr(made, name), []) for name in frames}
    return out | {name: getattr(made, name) for name in ("expected_saving", "saving_low", "saving_high")}


def reviewed() -> dict[str, Any]:
    """What its policies cost."""
    made = _with_ledger(lambda ledger: cost_review(ledger, LAST_VISIT, discount_pct=8.0, lives=300))
    frames = ("policies", "year", "intervals", "warnings", "best_ages", "ratio_curve", "tornado", "spent")
    return {name: _rows(getattr(made, name), []) for name in frames}


def _rows(frame: pd.DataFrame, by: list[str]) -> list[dict[str, Any]]:
    frame = frame.sort_values(by, ignore_index=True) if by else frame
    return frame[[name for name in frame if name not in SENTENCES]].to_dict("records")


def plain(value: Any) -> Any:
    """As JSON has it: numbers of numpy's and dates unwrapped, NaN as None."""
    if isinstance(value, dict):
        return {str(key): plain(part) for key, part in value.items()}
    if isinstance(value, list | tuple | np.ndarray | set):
        return [plain(part) for part in value]
    if hasattr(value, "item"):
        value = value.item()
    if value is None or value is pd.NaT or (isinstance(value, float) and math.isnan(value)):
        return None
    if isinstance(value, float) and math.isinf(value):
        return str(value)
    return str(value) if isinstance(value, date) else value


# What, by which method's version, and how closely other machines' arithmetic gives it again.
KEPT: dict[str, tuple[Callable[[], Any], Callable[[], int], float]] = {
    "readings": (readings, lambda: measurement.METHOD_VERSION, 1e-6),
    "fit": (fitted, lambda: model.METHOD_VERSION, 1e-4),
    "ranking": (ranked, lambda: 1000 * model.METHOD_VERSION + decision.METHOD_VERSION, 1e-4),
    "plan": (planned, lambda: 1000 * model.METHOD_VERSION + decision.METHOD_VERSION, 1e-3),
    "costs": (reviewed, lambda: 1000 * model.METHOD_VERSION + policy_review.METHOD_VERSION, 1e-3),
}
