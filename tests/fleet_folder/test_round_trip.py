"""Every column holds a number of its own on its way from reading to ledger, export and load.

Two that are swapped anywhere show.
"""

from dataclasses import fields
from datetime import date, timedelta

import pandas as pd
import pytest

from ingest.capture import Capture, Note
from ingest.fleet_folder.export import export_ledger
from ingest.fleet_folder.loading import load_folder
from ingest.fleet_folder.tables import PUMP_TYPES, PUMPS, TABLES, VEHICLES, VISITS, Column
from ingest.ledger.connection import open_ledger
from ingest.reading import Reading, SpeedCandidate
from ingest.visit.entry import VisitEntry
from ingest.visit.logging_visit import log_visit
from ingest.wording.measuring_notes import zero_corrected
from tests.authors import ANYBODY

WORDED = {"speed_candidates", "notes", "segment_profile_pct"}
WHOLE = {"segments", "weakest_segment", "strongest_segment", "method_version"}
NUMBERS = [f.name for f in fields(Reading) if f.name not in WORDED]


@pytest.fixture(scope="module")
def reading():
    """A reading in which no two fields are alike."""
    values = {name: 3 + i if name in WHOLE else 3.25 + i for i, name in enumerate(NUMBERS)}
    values |= {"mean_a": 5.0, "rpm": 6001.5, "rpm_se": 7.125}
    return Reading(
        **values,
        segment_profile_pct=(1.5, 2.5, 3.5),
        speed_candidates=(SpeedCandidate(6001.5, 0.75), SpeedCandidate(3000.5, 0.125)),
        notes=(Note("clipped", "warning", "So it was."), zero_corrected(0.125)),
    )


@pytest.fixture(scope="module")
def logged(reading, tmp_path_factory):
    ledger = tmp_path_factory.mktemp("round") / "fleet.duckdb"
    capture = Capture(pd.Series(range(400)).mod(7).to_numpy(float), 20_000.0, source="a.csv", start_s=0.5)
    entry = VisitEntry("214", visited_on=date(2026, 3, 2), odometer_km=10_000.0)
    log_visit(ledger, entry, capture, reading, {"probe-factor": "as drawn"}, author=ANYBODY)
    return ledger


def test_each_figure_of_a_reading_is_kept_and_shown_under_its_own_name(reading, logged):
    with open_ledger(logged) as con:
        [kept] = con.execute("SELECT * FROM reading").df().to_dict("records")
        [shown] = con.execute("SELECT * FROM visit_detail").df().to_dict("records")
    wanted = {name: getattr(reading, name) for name in NUMBERS}
    assert {name: kept[name] for name in NUMBERS} == wanted
    both = [name for name in NUMBERS if name in shown and name != "segments"]  # those are the type's
    assert {"mean_a", "rpm", "rpm_se", "once_per_turn_pct", "twice_per_turn_pct", "pwm_hz"} <= set(both)
    assert {name: shown[name] for name in both} == {name: wanted[name] for name in both}


def test_an_export_has_each_figure_under_its_own_name(reading, logged, tmp_path):
    export_ledger(logged, tmp_path / "out")
    [written] = pd.read_csv(tmp_path / "out" / "ledger" / "reading.csv").to_dict("records")
    assert {name: written[name] for name in NUMBERS} == {name: getattr(reading, name) for name in NUMBERS}
    assert "zero-corrected" in written["notes"]
    said = "So it was.\nWith the pump off the record shows +0.125 A; this was subtracted."
    assert written["notes_text"] == said
    [detail] = pd.read_csv(tmp_path / "out" / "ledger" / "visit_detail.csv").to_dict("records")
    assert detail["reading_notes_text"] == said


def filled(columns: tuple[Column, ...], start: int, **given) -> dict:
    """A row with a value of its own in each column; choices take the first, `given` what it says."""
    row = {}
    for i, column in enumerate(columns, start):
        if column.name in given:
            row[column.name] = given[column.name]
        elif column.kind in ("number", "distance"):
            row[column.name] = (column.low or 0) + i / 8
        elif column.kind == "integer":
            row[column.name] = i
        elif column.kind == "choice":
            row[column.name] = column.choices[0]
        elif column.kind == "date":
            row[column.name] = date(2025, 1, 1) + timedelta(days=i)
        else:
            row[column.name] = f"{column.name} {i}"
    return row


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """One unit, one type, one pump and one visit, every column told."""
    root = tmp_path_factory.mktemp("full") / "in"
    root.mkdir()
    (root / "fleet.toml").write_text('distance_unit = "mi"\n', encoding="utf-8")
    rows = {
        VEHICLES: filled(VEHICLES.columns, 20, unit="U1", vin=None, year=2021, system_v=12, clock="distance",
                         in_service_on=date(2021, 1, 1), records_from=date(2021, 1, 2),
                         retires_on=date(2031, 1, 1), ref=None),
        PUMP_TYPES: filled(PUMP_TYPES.columns, 30, pump_type="T", segments=8, poles=2, current_low_a=4.125,
                           current_high_a=7.25, ref=None),
        PUMPS: filled(PUMPS.columns, 3, unit="U1", position="main", pump_type="T", serial="S1",
                      run_share=0.75, fitted_on=date(2024, 1, 5), fitted_odometer=101.5, prior_distance=12.5,
                      removed_on=date(2025, 12, 1), removed_odometer=30_303.5, removal="on_condition",
                      found="worn", ref=None, row_id=1),
        VISITS: filled(VISITS.columns, 40, unit="U1", position="main", serial="S1", poles=4,
                       visited_on=date(2025, 6, 1), odometer=20_202.5, capture=None, meter_a=None,
                       mean_a=5.125, min_a=4.5, max_a=5.75, ripple_a=0.625, rpm=6001.5, rpm_se=7.125,
                       supply_v=13.625, probe="62.5mV/A",
                       supply_v_at="pump", drop_supply_v=0.25, drop_ground_v=0.0625,
                       fuel_pressure_kpa=401.5, delivery_l_min=1.625, closes=None, clamp="blue", ref=None,
                       row_id=1, pump_row_id=1),
    }  # fmt: skip
    for table, row in rows.items():
        pd.DataFrame([row]).to_csv(root / table.file, index=False)
    return root


def tables(folder):
    return {
        table.file: pd.read_csv(folder / table.file, dtype=str).dropna(axis=1, how="all").to_dict("records")
        for table in TABLES
        if (folder / table.file).exists()
    }


def same(a: str, b: str) -> bool:
    try:
        return float(a) == pytest.approx(float(b), rel=1e-9)
    except ValueError:
        return a == b


def test_a_folder_told_in_full_comes_back_as_it_went_in(folder, tmp_path):
    report = load_folder(tmp_path / "a.duckdb", folder, today=date(2026, 1, 1), author=ANYBODY)
    assert not report.refused
    export_ledger(tmp_path / "a.duckdb", tmp_path / "out")
    told, back = tables(folder), tables(tmp_path / "out")
    for name, [row] in told.items():
        [written] = back[name]
        assert {k: written.get(k) for k, v in row.items() if not same(v, written.get(k, ""))} == {}, name
    load_folder(tmp_path / "b.duckdb", tmp_path / "out", today=date(2026, 1, 1), author=ANYBODY)
    export_ledger(tmp_path / "b.duckdb", tmp_path / "again")
    assert tables(tmp_path / "again") == back
