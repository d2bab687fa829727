"""Every page of a house that has only begun, or has ended: no pump, one, two, three; no visit; all gone."""

import pandas as pd
import pytest

from dashboard.cli import main
from dashboard.shell.navigation import PAGES
from tests.pages.page_runs import open_page, words

TYPES = [{"pump_type": "T", "current_low_a": 4, "current_high_a": 7}]
HISTORY = [{"pump": "1", "history_part": part} for part in ("What is expected", "Waveforms", "Visits")]


def units(count, **facts):
    return [{"unit": f"u{i}", "depot": "Yard"} | facts for i in range(count)]


def pumps(count, **facts):
    fitted = {"pump_type": "T", "fitted_on": "2025-01-01", "fitted_odometer": 1000}
    return [{"unit": f"u{i}"} | fitted | facts for i in range(count)]


def visits(count, each):
    return [
        {"unit": f"u{i}", "visited_on": f"2026-0{k + 1}-15", "odometer": 9000 + 4000 * k, "state": "idle",
         "mean_a": 5.1, "rpm": 6000, "ripple_pct": 9, "supply_v": 13.6}
        for i in range(count) for k in range(each)
    ]  # fmt: skip


GONE = {"removed_on": "2026-03-01", "removed_odometer": 20_000, "removal": "other"}
FLEETS = {
    "vehicles without a pump": {"vehicles": units(2)},
    "work alone": {
        "vehicles": units(1), "services": [{"unit": "u0", "done_on": "2026-03-01", "work": "hose"}],
    },
    "one pump, no visit": {"vehicles": units(1), "pump_types": TYPES, "pumps": pumps(1)},
    "broken down, never read": {
        "vehicles": units(1), "pumps": pumps(1),
        "breakdowns": [{"unit": "u0", "happened_on": "2026-03-01", "pump_confirmed": "yes"}],
    },
    "two pumps, and a filter for a unit that has none": {
        "vehicles": units(3), "pump_types": TYPES, "pumps": pumps(2), "visits": visits(2, 1),
        "services": [{"unit": "u2", "done_on": "2026-01-10", "odometer": 8000, "work": "filter"}],
    },
    "three pumps": {"vehicles": units(3), "pump_types": TYPES, "pumps": pumps(3), "visits": visits(3, 3)},
    "all retired": {
        "vehicles": units(2, retires_on="2026-03-01"), "pump_types": TYPES, "pumps": pumps(2, **GONE),
        "visits": visits(2, 1),
    },
}  # fmt: skip
NO_PUMP_RUNS = {"vehicles without a pump", "work alone", "all retired"}


def load(folder, tables):
    folder.mkdir()
    for name, rows in tables.items():
        pd.DataFrame(rows).to_csv(folder / f"{name}.csv", index=False)
    ledger = str(folder / "fleet.duckdb")
    assert main(["load", str(folder), "--ledger", ledger]) == 0
    return ledger


def draw_every_page():
    for view in PAGES:
        for query in [{"pump": "1"}, *HISTORY] if view == "pump_history" else [{}]:
            page = open_page(view, **query)
            assert not page.error, (view, query, [e.value for e in page.error])


def test_every_page_of_a_fleet_that_broke_down_before_it_was_read_opens(tmp_path, monkeypatch):
    monkeypatch.setenv("PUMPLEDGER", load(tmp_path / "folder", FLEETS["broken down, never read"]))
    draw_every_page()


@pytest.mark.parametrize("name", ["one pump, no visit", "three pumps"])
def test_every_part_of_a_first_pumps_history_opens(tmp_path, monkeypatch, name):
    """Pages of these fleets, and of others as small, are walked by tests/browser/test_small_fleets.py."""
    monkeypatch.setenv("PUMPLEDGER", load(tmp_path / "folder", FLEETS[name]))
    for query in HISTORY:
        page = open_page("pump_history", **query)
        assert not page.error, (query, [e.value for e in page.error])


def test_every_page_opens_after_a_first_visit_by_meter(tmp_path, monkeypatch, capsys):
    ledger = str(tmp_path / "fleet.duckdb")
    entered = ["--unit", "7", "--odometer", "88412 mi", "--meter-a", "5.2", "--date", "2026-03-01"]
    assert main(["log", *entered, "--ledger", ledger]) == 0
    monkeypatch.setenv("PUMPLEDGER", ledger)
    draw_every_page()


@pytest.mark.parametrize("name", sorted(NO_PUMP_RUNS))
def test_reports_of_a_fleet_without_a_running_pump(tmp_path, capsys, name):
    ledger = load(tmp_path / "folder", FLEETS[name])
    for command in ("rank", "plan", "cost", "backtest", "check"):
        capsys.readouterr()
        main([command, "--ledger", ledger])
        said = capsys.readouterr()
        assert "1970" not in said.out + said.err
        assert "Traceback" not in said.err


def test_reports_of_a_ledger_that_has_only_its_settings(tmp_path, capsys):
    ledger = str(tmp_path / "fleet.duckdb")
    assert main(["add", "fleet", "currency=EUR", "--ledger", ledger]) == 0
    for command, told in (("rank", "No pump is in service"), ("plan", "No pump is to be changed")):
        assert main([command, "--ledger", ledger]) == 0
        assert told in capsys.readouterr().out


def test_a_pumps_page_tells_its_finding_and_that_of_one_taken_off(tmp_path, monkeypatch):
    weak = {"unit": "u0", "visited_on": "2026-02-15", "odometer": 13_000, "state": "idle", "mean_a": 3.1}
    taken_off = [
        {"unit": "u1", "visited_on": "2026-02-15", "odometer": 13_000, "state": "idle", "mean_a": 9.2}
    ]
    tables = {"vehicles": units(2), "pump_types": TYPES, "visits": [weak, *taken_off]}
    lives = [*pumps(1), pumps(2, **GONE)[1]]
    monkeypatch.setenv("PUMPLEDGER", load(tmp_path / "folder", tables | {"pumps": lives}))
    runs, gone = (words(open_page("pump_history", pump=pump, history_part="Visits")) for pump in "12")
    assert "The average is below specification" in runs
    assert "**Its last reading.** The average is above specification" in gone
