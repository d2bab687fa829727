"""Exports: every table, safe in a spreadsheet, and back in through `load` without a difference."""

import csv
import shutil
from datetime import date

import duckdb
import numpy as np
import pytest

from dashboard.cli import main
from ingest.author import Author
from ingest.capture import Capture
from ingest.errors import LedgerError
from ingest.fleet_folder.export import export_ledger
from ingest.fleet_folder.loading import load_folder
from ingest.ledger.connection import open_ledger
from ingest.ledger.rows import insert_row
from ingest.ledger.settings import set_setting
from ingest.ledger.tables import table_names
from ingest.ledger.visit_rows import meter_reading
from ingest.visit.entry import VisitEntry
from ingest.visit.logging_visit import log_visit
from tests.authors import ANYBODY

# A grey PNG of one pixel (W3C PNG Specification), made with Pillow.
PICTURE = bytes.fromhex(
    "89504e470d0a1a0a0000000d49484452000000010000000108000000003a7e9b550000000a49444154789c6368000000"
    "82008177cd72b60000000049454e44ae426082"
)
NOTES = [
    "=cmd|' /C calc'!A0",
    "-5.00",
    "+SUM(A1)",
    "@x",
    "'=quoted",
    "−3 V, 5 %",
    'a;b,"c"\nd',
    " =1+1",
    "-lean",
]


@pytest.fixture(scope="module")
def ledger_once(tmp_path_factory):
    """Two units, captures, meter readings, services and awkward text."""
    path = tmp_path_factory.mktemp("ledger") / "fleet.duckdb"
    rng = np.random.default_rng(3)
    for i, note in enumerate(NOTES):
        entry = VisitEntry(
            "007" if i % 2 else "7",
            pump_type="FP-1",
            visited_on=date(2026, 1, 1 + i),
            odometer_km=(1000 + 100 * i) * 1.609344,
            odometer_entered=1000.0 + 100 * i,
            odometer_unit="mi",
            note=note,
            done=("filter",) if i == 3 else (),
            meter_a=5.0 + i / 7 if i > 2 else None,
        )
        capture = Capture(np.round(5 + rng.normal(0, 0.1, 300), 3), 20_000.0) if i <= 2 else None
        reading = meter_reading(5.0) if capture else None
        log_visit(
            path, entry, capture, reading, {"unit-new": "new", "similar-unit": "two of them"}, author=ANYBODY
        )
    with open_ledger(path, read_only=False) as con:
        con.execute(
            "UPDATE pump_type SET current_low_a = 4, current_high_a = 7.5, segments = 8, price = 81.25,"
            " warranty_distance_km = 160934.4"
        )
        con.execute("INSERT INTO stock VALUES ('North', 'FP-1', 3, NULL, now()::TIMESTAMP)")
        insert_row(con, "breakdown", {"unit": "7", "happened_on": date(2026, 2, 1)})
        insert_row(con, "connection_note", {"make": "=Alder", "picture": PICTURE})
    set_setting(path, "risk_ceiling", {"school bus": 0.04}, author=Author("AB", "manager"), reason="policy")
    set_setting(path, "distance_unit", "mi", author=Author("AB", "manager"), reason="as painted on the dials")
    set_setting(path, "currency", "CAD", author=Author("AB", "manager"), reason="moved")
    return path


@pytest.fixture
def ledger(ledger_once, tmp_path):
    shutil.copyfile(ledger_once, tmp_path / ledger_once.name)
    shutil.copytree(ledger_once.with_suffix(".waveforms"), tmp_path / "fleet.waveforms")
    return tmp_path / ledger_once.name


def cells(path, column):
    with path.open(newline="", encoding="utf-8") as file:
        return [row[column] for row in csv.DictReader(file)]


def test_every_table_is_written(ledger, tmp_path):
    made = export_ledger(ledger, tmp_path / "out")
    with open_ledger(ledger) as con:
        counts = {n: con.execute(f"SELECT count(*) FROM {n}").fetchall()[0][0] for n in table_names(con)}
    assert len(counts) > 25
    for name, count in counts.items():
        assert made.rows[f"ledger/{name}.csv"] == count, name
        assert (tmp_path / "out" / "ledger" / f"{name}.csv").exists()
    assert made.waveforms == 3
    assert made.missing == ()


def test_formulas_are_made_harmless_and_numbers_left_alone(ledger, tmp_path):
    export_ledger(ledger, tmp_path / "out")
    for name in ("visits.csv", "ledger/visit.csv"):
        notes = cells(tmp_path / "out" / name, "note")
        assert "'=cmd|' /C calc'!A0" in notes
        assert "-5.00" in notes
        assert "−3 V, 5 %" in notes
        for note in notes:
            plain = note.lstrip()
            assert not plain.startswith(("=", "+", "@"))
            assert not plain.startswith("-") or float(plain)
    assert cells(tmp_path / "out" / "ledger" / "connection_note.csv", "make") == ["'=Alder"]
    assert cells(tmp_path / "out" / "vehicles.csv", "unit") == ["007", "7"]


def test_distances_are_written_as_they_were_entered(ledger, tmp_path):
    export_ledger(ledger, tmp_path / "out")
    assert 'distance_unit = "mi"' in (tmp_path / "out" / "fleet.toml").read_text()
    assert set(cells(tmp_path / "out" / "visits.csv", "odometer")) == {
        f"{1000 + 100 * i}.0" for i in range(9)
    }


COMPARED = {
    "visit": "unit, position, visited_on, odometer_km, reason, capture_hash, meter_a, note",
    "pump": "unit, position, pump_type, serial, fitted_on, removed_on",
    "pump_type": "* EXCLUDE (recorded_at)",
    "vehicle": "* EXCLUDE (recorded_at)",
    "service": "unit, done_on, odometer_km, work",
    "breakdown": "unit, happened_on, pump_confirmed",
    "stock": "depot, pump_type, on_hand",
    "capture": "capture_hash, sample_rate_hz, samples, start_s",
}


def content(path):
    with open_ledger(path) as con:
        rows = {
            table: con.execute(f"SELECT {columns} FROM {table} ORDER BY ALL").fetchall()
            for table, columns in COMPARED.items()
        }
    return {
        table: [[float(f"{v:.12g}") if isinstance(v, float) else v for v in row] for row in found]
        for table, found in rows.items()
    }


@pytest.mark.parametrize("into_the_same", [True, False])
def test_a_round_trip_through_load_changes_nothing(ledger, tmp_path, into_the_same):
    export_ledger(ledger, tmp_path / "out")
    before = content(ledger)
    target = ledger if into_the_same else tmp_path / "second.duckdb"
    report = load_folder(target, tmp_path / "out", today=date(2026, 11, 25), author=ANYBODY)
    assert report.refused == ()
    assert content(target) == before
    if into_the_same:
        assert sum(count.added + count.changed for count in report.tables) == 0
    else:
        again = load_folder(target, tmp_path / "out", today=date(2026, 11, 25), author=ANYBODY)
        assert sum(count.added + count.changed for count in again.tables) == 0


def test_parquet_holds_the_same_without_guards(ledger, tmp_path):
    made = export_ledger(ledger, tmp_path / "out", form="parquet")
    path = tmp_path / "out" / "visits.parquet"
    with duckdb.connect() as con:
        notes = {n for (n,) in con.execute("SELECT note FROM read_parquet(?)", [str(path)]).fetchall()}
        picture = con.execute(
            "SELECT picture FROM read_parquet(?)", [str(tmp_path / "out/ledger/connection_note.parquet")]
        ).fetchall()
    assert notes == set(NOTES)
    assert picture == [(PICTURE,)]
    assert made.rows["visits.parquet"] == len(NOTES)


def test_an_existing_folder_is_left_alone_and_nothing_is_half_written(ledger, tmp_path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "mine.txt").write_text("x")
    with pytest.raises(LedgerError, match="is there already"):
        export_ledger(ledger, tmp_path / "out")
    assert [p.name for p in (tmp_path / "out").iterdir()] == ["mine.txt"]


def test_the_command(ledger, tmp_path, capsys):
    assert main(["export", str(tmp_path / "out"), "--ledger", str(ledger)]) == 0
    assert "3 waveforms" in capsys.readouterr().out
    for path in (tmp_path / "out" / "captures").iterdir():
        path.unlink()
    for path in ledger.with_suffix(".waveforms").iterdir():
        path.unlink()
    assert main(["export", str(tmp_path / "out2"), "--ledger", str(ledger)]) == 1
    assert "has no waveform file" in capsys.readouterr().out
