"""The demo: a county's fleet of about 120 units over five years, as a fleet folder with waveforms.

Lives, failures and readings come from the life simulator; the newest captures are waveforms of the simulated
motor that has those readings. On top come what a shop sees besides: wiring faults, empty tanks, single bad
bars, meter-only visits, work nobody wrote down, and entry errors. All of it is invented.

    write_scenario(Path("demo/fleet"))
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import pandas as pd

from demo_fleet.fleet import simulate_fleet
from demo_fleet.fleet_pumps import FleetSpec
from demo_fleet.scenario_captures import plan_captures, write_captures
from demo_fleet.scenario_events import add_entry_errors, add_events
from demo_fleet.scenario_tables import dressed

TODAY = date(2026, 11, 20)
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class ScenarioSpec:
    """What to build. `today`: the last day of the records."""

    vehicles: int = 120
    seed: int = 11
    years: float = 5.0
    today: date = TODAY
    captures: int | None = None  # at most so many waveforms; None: all planned


def write_scenario(
    folder: Path, spec: ScenarioSpec | None = None, *, processes: int = 2, progress: Progress | None = None
) -> Path:
    """Build the fleet folder `folder` and, beside it, the truth (`<folder>_truth`); returns `folder`.

    The folder appears whole or not at all. progress(done, of) follows the waveforms.
    Raises FileExistsError if it is there already.
    """
    spec = spec or ScenarioSpec()
    folder = Path(folder)
    if folder.exists():
        raise FileExistsError(folder)
    building = folder.with_name(f"{folder.name}.building-{os.getpid()}")
    truth_folder = folder.with_name(f"{folder.name}_truth")
    shutil.rmtree(building, ignore_errors=True)
    (building / "captures").mkdir(parents=True)
    try:
        truth = _build(building, spec, processes, progress)
        truth_folder.mkdir(exist_ok=True)
        for name, table in truth.items():
            table.to_csv(truth_folder / f"{name}.csv", index=False, date_format="%Y-%m-%d")
        building.rename(folder)
    finally:
        shutil.rmtree(building, ignore_errors=True)
    return folder


def _build(
    folder: Path, spec: ScenarioSpec, processes: int, progress: Progress | None
) -> dict[str, pd.DataFrame]:
    fleet = simulate_fleet(
        FleetSpec(
            vehicles=spec.vehicles,
            seed=spec.seed,
            years=spec.years,
            until=spec.today.isoformat(),
            removed_on_condition=0.35,
        )
    )
    story = dressed(fleet, spec.today)
    story = add_events(story, spec.seed)
    jobs, story = plan_captures(story, spec.seed, spec.captures)
    capture_truth = write_captures(jobs, folder / "captures", processes=processes, progress=progress)
    story = add_entry_errors(story, spec.seed)
    for name, table in story.tables().items():
        table.to_csv(folder / f"{name}.csv", index=False, date_format="%Y-%m-%d")
    (folder / "fleet.toml").write_text(_fleet_toml(), encoding="utf-8")
    return {"lives": story.true_lives, "visits": story.true_visits(), "captures": capture_truth}


def _fleet_toml() -> str:
    """Units and costs of the invented county."""
    keys = {
        "distance_unit": "mi",
        "currency": "USD",
        "records_are": "invented",
        "reference_supply_v": 13.5,
        "planned_replacement": 650,
        "failure_replacement": 2400,
    }
    return "".join(f"{key} = {json.dumps(value)}\n" for key, value in keys.items())
