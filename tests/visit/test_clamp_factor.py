"""A wrong clamp factor: the right one is offered; what was stored with the wrong one is measured again."""

import numpy as np
import pytest

from dashboard.cli import main
from ingest.ledger.connection import open_ledger
from ingest.ledger.rows import insert_row
from ingest.ledger.upkeep import check_ledger
from ingest.visit.clamp_factor import right_times
from tests.ledger_fixture import build_ledger, small_capture


@pytest.fixture
def run(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    ledger = build_ledger(tmp_path / "fleet.duckdb")
    # what to do in the bay is no part of what is tried here
    monkeypatch.setattr("dashboard.commands.log._decision", lambda *_: None)
    with open_ledger(ledger, read_only=False) as con:
        insert_row(con, "clamp", {"clamp": "blue", "factor": "40mV/A"})

    def words(*told):
        code = main([told[0], "--ledger", str(ledger), *map(str, told[1:])])
        return code, "".join(capsys.readouterr())

    words.ledger = ledger
    return words


def write(path, name, per_a, mean_a=5.4):
    values = small_capture(mean_a=mean_a, seconds=0.2).current_a * per_a
    t = np.arange(len(values)) / 50_000
    lines = "\n".join(f"{a:.5f},{v:.6f}" for a, v in zip(t, values, strict=True))
    path.write_text(f"Time (s),{name}\n{lines}\n")
    return path


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ((), "--probe 100mV/A. A clamp on record says it too: --clamp blue (40mV/A)."),
        (("--clamp", "new"), "no factor on record: pumpledger clamp new --factor 100mV/A keeps one"),
    ],
)
def test_where_a_factor_is_asked_the_clamps_on_record_are_named(run, tmp_path, typed, said):
    code, told = run("log", write(tmp_path / "v.csv", "Clamp (V)", 0.04), *VISIT, *typed)
    assert code == 1
    assert said in told


VISIT = ("--unit", "103", "--odometer", "150000 km", "--date", "2026-02-01")
SURE = ("--confirm", "odometer-too-far=long trip", "--confirm", "future-date=of the test")


@pytest.mark.parametrize(
    ("column", "per_a", "typed", "offered", "stored"),
    [
        ("Clamp (V)", 0.04, ("--probe", "100mV/A", "--clamp", "blue"),
         "With the clamp's own factor, 40mV/A: 5.", "40mV/A"),
        ("Current (A)", 10.0, (), "It is 5.", None),
    ],
)  # fmt: skip
def test_the_right_factor_is_a_tap_at_the_entry(run, tmp_path, column, per_a, typed, offered, stored):
    file = write(tmp_path / "v.csv", column, per_a)
    code, said = run("log", file, *VISIT, *SURE, *typed)
    assert code == 1
    assert offered in said
    key = "clamp" if "own" in offered else "factor"
    code, said = run("log", file, *VISIT, *SURE, *typed, "--correct", f"probe-factor={key}")
    assert code == 0, said
    with open_ledger(run.ledger) as con:
        [(mean_a, probe, trend)] = con.execute(
            "SELECT mean_a, v.probe, v.in_trend FROM visit_detail JOIN visit v USING (visit_id)"
            " ORDER BY visit_id DESC LIMIT 1"
        ).fetchall()
    assert (mean_a, probe, trend) == (pytest.approx(5.4, rel=0.03), stored, True)


def test_a_stored_visit_is_measured_again_and_stays_one_visit(run, tmp_path):
    file = write(tmp_path / "v.csv", "Clamp (V)", 0.1)
    (tmp_path / "f" / "captures").mkdir(parents=True)
    (tmp_path / "f" / "visits.csv").write_text(
        "unit,visited_on,odometer,capture,probe\n103,2026-02-01,150000 km,v.csv,10mV/A\n"
    )
    (tmp_path / "f" / "captures" / "v.csv").write_bytes(file.read_bytes())
    run("load", tmp_path / "f")
    said = run("questions", "--kind", "probe-factor")[1]
    assert "--as factor: With the factor 100mV/A: 5." in said
    assert "1 question settled" in run("questions", "--kind", "probe-factor", "--as", "factor")[1]
    newest = "SELECT visit_id, mean_a, raw_ripple_pct, in_trend FROM visit_detail ORDER BY 1 DESC LIMIT 1"
    with open_ledger(run.ledger) as con:
        [(visit, mean_a, ripple_pct, in_trend)] = con.execute(newest).fetchall()
        held = con.execute(
            "SELECT mean_a, raw_ripple_pct FROM reading WHERE visit_id = ? ORDER BY 1", [visit]
        )
        [right, wrong] = held.fetchall()
        assert con.execute("SELECT probe FROM visit WHERE visit_id = ?", [visit]).fetchall() == [("100mV/A",)]
    assert (mean_a, in_trend) == (pytest.approx(5.4, rel=0.03), True)
    assert wrong == pytest.approx((10 * right[0], right[1]))
    # the folder that still says 10 mV/A, the file at the bench and in the tray are that visit
    run("load", tmp_path / "f")
    again = run("log", file, *VISIT, *SURE, "--probe", "10mV/A")[1]
    assert f"already in the ledger as visit {visit}" in again
    run("clamp", "red", "--factor", "10mV/A")
    assert " known " in run("take", tmp_path / "f" / "captures", "--clamp", "red")[1]
    with open_ledger(run.ledger) as con:
        assert con.execute(newest).fetchall() == [(visit, mean_a, ripple_pct, True)]
    assert [f.code for f in check_ledger(run.ledger).findings if f.code.startswith("orphan")] == []


def test_an_offset_is_no_factor():
    pump = {"mean_a": 54.0, "level_a": 5.4}
    assert right_times(pump | {"ripple_a": 4.0}) == {"factor": 0.1}
    assert right_times(pump | {"ripple_a": 0.4}) == {}
    assert right_times(pump | {"v_per_a": 0.01, "clamp_v_per_a": 0.1}) == {"clamp": pytest.approx(0.1)}
