"""What a visit says of how it was read and what a check found: by command, by folder, out and in again."""

from dataclasses import replace
from datetime import date

import pytest

from dashboard.cli import main
from ingest.errors import EntryRefused
from ingest.fleet_folder.export import export_ledger
from ingest.fleet_folder.loading import load_folder
from ingest.ledger.connection import open_ledger
from ingest.visit.entry import VisitEntry
from ingest.visit.logging_visit import log_visit
from ingest.vocabulary import PARTS
from tests.authors import ANYBODY

SAID = {
    "zero_checked": "yes", "commanded": "high", "duty_pct": 80.0, "fuel": "E10", "supply_v": 13.2,
    "supply_v_at": "battery", "fuel_pressure_kpa": 390.0, "delivery_l_min": 1.7, "delivery_at": "free",
    "pressure_hold_kpa": 310.0, "filter_state": "bad", "strainer": "good", "hose": "not_reached",
    "regulator": "good", "connector": "bad", "check_result": "filter", "closes": "WO-7", "channel": "C2",
}  # fmt: skip
CHECK = VisitEntry("214", visited_on=date(2026, 3, 2), odometer_km=9_000.0, reason="follow-up", **SAID)


def kept(ledger):
    with open_ledger(ledger) as connection:
        rows = connection.execute("SELECT * FROM visit_detail ORDER BY visit_id").df()
    return rows.rename(columns={"fuel": "fuel_of_type", "fuel_in_tank": "fuel"})


def test_a_check_without_any_current_is_kept_whole_and_once(tmp_path):
    ledger = tmp_path / "fleet.duckdb"
    assert log_visit(ledger, CHECK, author=ANYBODY).stored
    assert not log_visit(ledger, CHECK, author=ANYBODY).stored
    assert log_visit(ledger, replace(CHECK, strainer="bad"), author=ANYBODY).stored
    row = kept(ledger).iloc[0]
    assert {name: row[name] for name in SAID} == SAID


def test_a_check_goes_out_and_comes_in_again(tmp_path):
    ledger = tmp_path / "fleet.duckdb"
    log_visit(ledger, CHECK, author=ANYBODY)
    export_ledger(ledger, tmp_path / "out")
    load_folder(tmp_path / "again.duckdb", tmp_path / "out", author=ANYBODY)
    row = kept(tmp_path / "again.duckdb").iloc[0]
    assert {name: row[name] for name in SAID} == SAID


def test_the_command_takes_every_entry(tmp_path, capsys):
    ledger = tmp_path / "fleet.duckdb"
    options = {
        "--commanded": "high", "--duty-pct": "80", "--fuel": "E10", "--supply-v": "13.2",
        "--supply-v-at": "battery", "--fuel-pressure": "390 kPa", "--delivery": "1.7 L/min",
        "--delivery-at": "free", "--pressure-hold": "310 kPa", "--filter-state": "bad", "--strainer": "good",
        "--hose": "not_reached", "--regulator": "good", "--connector": "bad", "--check-result": "filter",
        "--closes": "WO-7", "--channel": "C2",
    }  # fmt: skip
    words = [word for pair in options.items() for word in pair]
    visit = ["--unit", "214", "--odometer", "9000 km", "--date", "2026-03-02", "--reason", "follow-up"]
    assert main(["log", "--ledger", str(ledger), *visit, "--zero-checked", *words]) == 0
    row = kept(ledger).iloc[0]
    assert {name: row[name] for name in SAID} == pytest.approx(SAID)


def test_only_a_reading_is_taken_for_a_planned_stop(tmp_path):
    ledger = tmp_path / "fleet.duckdb"
    visit = ["log", "--ledger", str(ledger), "--unit", "214", "--odometer", "9000 km", "--date", "2026-03-02"]
    for told in (["--strainer", "good"], ["--meter-a", "5"], ["--hose", "good", "--reason", "pm"]):
        assert main([*visit, *told]) == 0
    assert main([*visit, "--supply-v", "13.2"]) == 2  # the file was forgotten
    assert list(kept(ledger)["reason"]) == ["follow-up", "pm", "pm"]


def test_a_clamp_that_was_not_zeroed_can_be_said(tmp_path):
    ledger, visit = tmp_path / "fleet.duckdb", ["--unit", "214", "--odometer", "9000 km", "--meter-a", "5"]
    assert main(["log", "--ledger", str(ledger), *visit, "--no-zero-checked"]) == 0
    assert kept(ledger).iloc[0]["zero_checked"] == "no"


@pytest.mark.parametrize("name", ["zero_checked", "commanded", "supply_v_at", "delivery_at", *PARTS])
def test_a_word_of_no_list_is_refused(tmp_path, name):
    with pytest.raises(EntryRefused, match=f"{name}: 'perhaps' is not one of"):
        log_visit(tmp_path / "fleet.duckdb", replace(CHECK, **{name: "perhaps"}), author=ANYBODY)


def test_volts_alone_are_no_visit_but_at_a_follow_up(tmp_path):
    volts = VisitEntry("214", visited_on=date(2026, 3, 2), supply_v=13.2)
    with pytest.raises(EntryRefused, match="Neither a capture nor a meter"):
        log_visit(tmp_path / "fleet.duckdb", volts, author=ANYBODY)
    assert log_visit(tmp_path / "fleet.duckdb", replace(volts, reason="follow-up"), author=ANYBODY).stored
