"""The demo command: built once, whole or not at all, and never over something else."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import duckdb
import pytest

import demo_fleet.scenario as scenario
from dashboard.cli import main
from demo_fleet.scenario import ScenarioSpec

SMALL = ScenarioSpec(vehicles=10, seed=11, captures=4)


@pytest.fixture
def small_demo(monkeypatch: pytest.MonkeyPatch) -> None:
    write = scenario.write_scenario

    def write_small(folder: Path, *, progress: Callable[[int, int], None] | None = None) -> Path:
        return write(folder, SMALL, processes=1, progress=progress)

    monkeypatch.setattr(scenario, "write_scenario", write_small)


@pytest.mark.usefixtures("small_demo")
def test_build_once_then_reuse(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "demo"
    assert main(["demo", "--folder", str(folder), "--build-only"]) == 0
    assert "Built the demo fleet" in capsys.readouterr().out
    ledger = folder / "pumpledger.duckdb"
    with duckdb.connect(str(ledger), read_only=True) as connection:
        rows = connection.execute("SELECT count(*), count(capture_hash) FROM visit").fetchall()
        vehicles = connection.execute("SELECT count(*) FROM vehicle").fetchall()[0][0]
    assert rows[0][0] > 100
    assert rows[0][1] == 4
    assert vehicles in (10, 11)  # one visit bears a unit number that is nearly another's
    assert sorted(p.name for p in tmp_path.iterdir()) == ["demo"]
    stamp = ledger.stat().st_mtime_ns
    assert main(["demo", "--folder", str(folder), "--build-only"]) == 0
    assert "Using the demo fleet" in capsys.readouterr().out
    assert ledger.stat().st_mtime_ns == stamp


def test_something_else_in_the_way_is_left_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "demo").mkdir()
    (tmp_path / "demo" / "mine.txt").write_text("keep")
    assert main(["demo", "--folder", str(tmp_path / "demo"), "--build-only"]) == 1
    assert "holds no complete demo" in capsys.readouterr().err
    assert (tmp_path / "demo" / "mine.txt").read_text() == "keep"


def test_a_failed_build_leaves_nothing_and_a_killed_one_is_cleared(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    killed = tmp_path / "demo.building-999999999"
    killed.mkdir()
    (killed / "half").write_text("x")

    def no_room(folder: Path, **_: object) -> Path:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(scenario, "write_scenario", no_room)
    assert main(["demo", "--folder", str(tmp_path / "demo"), "--build-only"]) == 1
    assert "No space left" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []
