"""The demo's fleet folder: whole, readable, repeatable, its waveforms true to the readings they stand for."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from demo_fleet.armature import Motor, simulate
from demo_fleet.capture_text import SHAPES, as_text
from demo_fleet.fleet import simulate_fleet
from demo_fleet.fleet_pumps import FleetSpec
from demo_fleet.matching import Target, aged, new_pump, type_motor
from demo_fleet.scenario import TODAY, ScenarioSpec, write_scenario
from demo_fleet.scenario_captures import PumpJob, plan_captures
from demo_fleet.scenario_events import add_entry_errors, add_events
from demo_fleet.scenario_tables import Story, dressed
from ingest.readers.capture_file import read_capture

SMALL = ScenarioSpec(vehicles=30, seed=11, captures=5)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_scenario(tmp_path_factory.mktemp("demo") / "fleet", SMALL, processes=1)


@pytest.fixture(scope="module")
def story() -> Story:
    """The whole demo without its waveforms."""
    fleet = simulate_fleet(
        FleetSpec(vehicles=120, seed=11, until=TODAY.isoformat(), removed_on_condition=0.35)
    )
    return add_events(dressed(fleet, TODAY), 11)


@pytest.fixture(scope="module")
def plan(story: Story) -> tuple[list[PumpJob], Story]:
    return plan_captures(story, 11, None)


def table(folder: Path, name: str) -> pd.DataFrame:
    return pd.read_csv(folder / f"{name}.csv", dtype={"unit": str})


def digest(folder: Path) -> str:
    sums = hashlib.sha256()
    for path in sorted(folder.rglob("*.*")):
        sums.update(path.name.encode() + path.read_bytes())
    return sums.hexdigest()


def test_same_seed_same_folder(folder: Path, tmp_path: Path) -> None:
    again = write_scenario(tmp_path / "fleet", SMALL, processes=2)
    assert digest(again) == digest(folder)


def test_an_existing_folder_is_left_alone(folder: Path) -> None:
    before = digest(folder)
    with pytest.raises(FileExistsError):
        write_scenario(folder, SMALL)
    assert digest(folder) == before


def test_a_broken_build_leaves_nothing(tmp_path: Path) -> None:
    def stop(_done: int, _of: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_scenario(tmp_path / "fleet", SMALL, processes=1, progress=stop)
    assert list(tmp_path.iterdir()) == []


def test_every_capture_named_is_there_and_reads_in_amps(folder: Path) -> None:
    named = table(folder, "visits")["capture"].dropna()
    assert set(named) == {p.name for p in (folder / "captures").iterdir()}
    truth = pd.read_csv(folder.with_name("fleet_truth") / "captures.csv").set_index("capture")
    assert truth["mishap"].isna().all()
    assert len(truth) == 5
    for name, row in truth.iterrows():
        capture = read_capture(folder / "captures" / str(name))
        start = int(row["steady_from_s"] * capture.sample_rate_hz)
        zero = capture.current_a[:900].mean() if row["start"] == "inrush" else 0.0
        # Clamp: up to 0.8 % of gain and 0.08 A of zero.
        assert capture.current_a[start:].mean() - zero == pytest.approx(row["mean_a"], rel=0.01, abs=0.09)


def test_metrics_of_a_capture_are_left_to_be_measured(folder: Path) -> None:
    visits = table(folder, "visits")
    with_file = visits[visits["capture"].notna()]
    assert with_file[["mean_a", "ripple_pct", "rpm", "meter_a"]].isna().all(axis=None)


def test_nothing_of_the_truth_is_in_the_folder(folder: Path) -> None:
    for path in folder.glob("*.csv"):
        columns = set(pd.read_csv(path, nrows=1).columns)
        assert not {c for c in columns if c.startswith("true_")}, path.name
        assert not columns & {"life", "motor_v", "motor_a", "kind", "zero_check", "entry_error"}, path.name


def test_no_vin_no_later_fact(folder: Path) -> None:
    assert table(folder, "vehicles")["vin"].isna().all()
    for name, column in (("visits", "visited_on"), ("services", "done_on"), ("breakdowns", "happened_on")):
        assert (pd.to_datetime(table(folder, name)[column]) <= pd.Timestamp(TODAY)).all(), name


def test_the_fleet_has_what_a_fleet_has(story: Story) -> None:
    assert len(story.vehicles) == 120
    assert story.vehicles["unit"].is_unique
    assert story.vehicles["depot"].nunique() == 4
    assert len(story.pump_types) == 4
    assert set(story.pump_types["supply"]) == {"direct", "pwm"}
    assert {"failed", "on_condition", "opportunity"} <= set(story.pumps["removal"])
    assert {"worn", "seized", "electrical", "tested_good", "not_examined"} <= set(story.pumps["found"])
    assert {"pm", "complaint", "after-repair"} <= set(story.visits["reason"])
    assert {"idle", "prime"} <= set(story.visits["state"])
    assert {"yes", "no"} <= set(story.breakdowns["pump_confirmed"])
    assert story.visits["meter_a"].notna().sum() > 10
    assert 0.02 < story.visits["supply_v"].isna().mean() < 0.12
    span = story.visits["visited_on"].max() - story.visits["visited_on"].min()
    assert span.days > 4.5 * 365


def test_most_pumps_stay_below_the_ripple_rule(story: Story) -> None:
    healthy = story.visits[(story.visits["true_wear"] < 1) & (story.visits["true_event"] == "")]
    assert (healthy["ripple_pct"].dropna() < 15).mean() > 0.99


def test_a_bad_ground_lowers_volts_current_and_speed(story: Story) -> None:
    bad = story.visits[story.visits["true_event"] == "bad ground"]
    assert len(bad) == 5
    assert (bad["supply_v"] < 12.6).all()
    assert (bad["drop_ground_v"] > 1).all()
    for row in bad.to_dict("records"):
        before = story.visits[(story.visits["life"] == row["life"]) & (story.visits["true_event"] == "")]
        assert row["motor_rpm"] < 0.95 * before["motor_rpm"].median()


def test_the_worst_pumps_were_looked_at_twice(plan: tuple[list[PumpJob], Story]) -> None:
    jobs, story = plan
    looks = story.visits[story.visits["zero_check"]]
    assert len(looks) >= 5
    starts = {capture.name: capture.start for job in jobs for capture in job.captures}
    for row in looks.to_dict("records"):
        assert starts[row["capture"]] == "inrush"
        assert row["visited_on"] <= pd.Timestamp(TODAY)
        history = story.visits[story.visits["life"] == row["life"]].sort_values("visited_on")
        assert history.iloc[-1]["ref"] == row["ref"]
        assert history.tail(2)[["drop_supply_v", "drop_ground_v"]].notna().all(axis=None)


def test_entry_errors_are_recorded_in_the_truth(plan: tuple[list[PumpJob], Story]) -> None:
    _, planned = plan
    dirty = add_entry_errors(planned, 11)
    changed = dirty.visits["odometer"] != planned.visits["odometer"]
    assert changed.sum() == 4
    assert "a unit number nearly that of another" in set(dirty.true_visits()["entry_error"])
    strangers = set(dirty.visits["unit"]) - set(dirty.vehicles["unit"])
    assert len(strangers) == 1


def test_the_last_visits_have_waveforms(plan: tuple[list[PumpJob], Story]) -> None:
    jobs, planned = plan
    files = [capture.name for job in jobs for capture in job.captures]
    assert len(files) == len(set(files)) == (planned.visits["capture"] != "").sum()
    here = planned.pumps.loc[planned.pumps["removal"] == "", "life"]
    last = planned.visits[planned.visits["life"].isin(here)].sort_values("visited_on").groupby("life").tail(1)
    assert (last["capture"] != "").mean() > 0.95


def test_a_matched_motor_has_the_readings_asked_for() -> None:
    kind = type_motor(Motor(), Target(5.8, 5600, 8.5, 13.5, 400.0))
    pump = new_pump(kind, Target(6.0, 5500, 8.0, 13.4, 395.0))
    worn = Target(6.4, 5200, 12.5, 13.7, 410.0, 32.0)
    motor, faults = aged(pump, 3, worn)
    trace = simulate(
        motor, supply_v=13.7, pressure_kpa=410.0, fuel_temp_c=32.0, duration_s=0.1, faults=faults
    )
    assert trace.current_a.mean() == pytest.approx(6.4, rel=0.005)
    assert trace.mean_rpm() == pytest.approx(5200, rel=0.005)
    assert 100 * np.ptp(trace.current_a) / 6.4 == pytest.approx(12.5, abs=1.5)
    assert motor.k_e == pump.k_e
    assert motor.brush_drop_v > pump.brush_drop_v


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("rate", [25_000.0, 40_000.0])
def test_each_text_shape_reads_back(shape: str, rate: float, tmp_path: Path) -> None:
    current = np.round(4.5 + 0.2 * np.sin(np.arange(2000) / 7), 3)
    path = tmp_path / "capture.csv"
    path.write_text(as_text(shape, current, rate), encoding="utf-8", newline="")
    capture = read_capture(path)
    assert capture.sample_rate_hz == pytest.approx(rate, rel=1e-9)
    assert capture.current_a == pytest.approx(current, abs=1e-4)


def test_an_unknown_shape_is_refused() -> None:
    with pytest.raises(ValueError, match="unknown shape"):
        as_text("pie", np.ones(3), 1.0)
