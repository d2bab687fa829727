"""Captures of a fleet folder: measured once, known by their samples whatever the file is called."""

import shutil

import numpy as np
import pytest

from ingest.fleet_folder.loading import load_folder
from ingest.ledger.connection import open_ledger
from ingest.waveforms import load_waveform, waveform_folder
from tests.authors import ANYBODY
from tests.fleet_folder.fleet_folders import ONE_UNIT, steady_visits, write_visits

SAMPLE_RATE_HZ = 25_000


def pump_current(seed, rpm=6000, mean_a=5.0):
    """A made-up capture: off for 20 ms, then 8 uneven segments a turn on `mean_a`."""
    rng = np.random.default_rng(seed)
    t = np.arange(8000) / SAMPLE_RATE_HZ
    segment = np.floor(t * rpm / 60 * 8).astype(int) % 8
    heights = 0.3 * (1 + 0.1 * rng.normal(size=8))
    current = (
        mean_a + heights[segment] * np.sin(2 * np.pi * rpm / 60 * 8 * t) + 0.01 * rng.normal(size=len(t))
    )
    return t, np.where(t < 0.02, 0.01 * rng.normal(size=len(t)), current)


@pytest.fixture(scope="module")
def loaded(tmp_path_factory):
    """A folder whose captures repeat under other names, and the reports of loading it twice."""
    root = tmp_path_factory.mktemp("captures")
    visits = [
        {k: v for k, v in visit.items() if k not in ("mean_a", "ripple_pct", "rpm")} | {"capture": name}
        for visit, name in zip(steady_visits(n=4), ("a.csv", "b.csv", "b-again.csv", "gone.csv"), strict=True)
    ]
    visits.append(visits[0] | {"capture": "copy of a.csv"})
    # Half a turn and a whole one look alike here, so the type says how many segments there are.
    types = "pump_type,segments,current_low_a,current_high_a\nP1,8,4,7"
    folder = write_visits(root / "f", visits, **(ONE_UNIT | {"pump_types": types}))
    (folder / "captures").mkdir()
    for seed, name in enumerate(("a.csv", "b.csv")):
        np.savetxt(
            folder / "captures" / name,
            np.column_stack(pump_current(seed)),
            delimiter=",",
            header="Time (s),Current (A)",
            comments="",
            fmt="%.6g",
        )
    shutil.copy(folder / "captures" / "a.csv", folder / "captures" / "copy of a.csv")
    shutil.copy(folder / "captures" / "b.csv", folder / "captures" / "b-again.csv")
    seen = []
    first = load_folder(
        root / "l.duckdb", folder, progress=lambda done, of, name: seen.append((done, of)), author=ANYBODY
    )
    return root / "l.duckdb", first, load_folder(root / "l.duckdb", folder, author=ANYBODY), seen


def query(ledger, sql):
    with open_ledger(ledger) as connection:
        return connection.execute(sql).fetchall()


def test_captures_are_measured_and_kept_beside_the_ledger(loaded):
    ledger, _, _, seen = loaded
    assert seen[-1] == (5, 5)
    rows = query(
        ledger, "SELECT origin, mean_a, rpm, capture_hash FROM visit_detail ORDER BY visited_on LIMIT 1"
    )
    origin, mean_a, rpm, capture_hash = rows[0]
    assert origin == "capture"
    assert mean_a == pytest.approx(5.0, abs=0.02)
    assert rpm == pytest.approx(6000, rel=0.01)
    assert len(load_waveform(ledger, capture_hash).current_a) == 8000


def test_the_same_samples_under_another_name_are_one_visit(loaded):
    ledger, first, _, _ = loaded
    count = next(c for c in first.tables if c.file == "visits.csv")
    assert (count.rows, count.added, count.unchanged) == (5, 4, 1)
    assert query(ledger, "SELECT count(*) FROM visit") == [(4,)]
    assert query(ledger, "SELECT count(*) FROM capture") == [(2,)]
    assert len(list(waveform_folder(ledger).glob("*.parquet"))) == 2


def test_the_same_samples_at_another_visit_and_a_missing_file_are_asked_about(loaded):
    ledger, first, _, _ = loaded
    assert [(q.row, q.code) for q in first.questions] == [(4, "capture-elsewhere"), (5, "capture-refused")]
    assert query(ledger, "SELECT count(*) FROM visit WHERE in_trend") == [(2,)]


def test_a_second_load_changes_nothing(loaded):
    _, first, again, _ = loaded
    assert again.changes == 0
    assert [q.text for q in again.questions] == [q.text for q in first.questions]


def test_a_dry_run_keeps_no_waveform(tmp_path, loaded):
    ledger = loaded[0]
    report = load_folder(tmp_path / "dry.duckdb", ledger.parent / "f", dry_run=True, author=ANYBODY)
    assert report.changes == loaded[1].changes
    assert list(tmp_path.iterdir()) == []


def test_a_capture_name_cannot_lead_out_of_the_folder(tmp_path):
    (tmp_path / "secret.csv").write_text("Time (s),Current (A)\n0,1\n")
    visit = {"unit": "T1", "visited_on": "2024-01-10", "capture": "../../secret.csv"}
    report = load_folder(
        tmp_path / "l.duckdb", write_visits(tmp_path / "f", [visit], **ONE_UNIT), author=ANYBODY
    )
    assert "capture-refused" in {q.code for q in report.questions}


def test_the_fleets_usual_speed_weighs_what_a_capture_allows(tmp_path):
    """Bars told, the same trace: its 6,000 rpm is usual or not, as fleet.toml says."""
    first = steady_visits(n=1)[0]
    visits = [
        {k: v for k, v in first.items() if k not in ("mean_a", "ripple_pct", "rpm")} | {"capture": "a.csv"}
    ]
    confidence = {}
    for low in (3400, 9000):
        folder = write_visits(tmp_path / str(low), visits, **ONE_UNIT)
        with (folder / "fleet.toml").open("a") as toml:
            toml.write(f"rpm_low = {low}\n")
        (folder / "captures").mkdir()
        np.savetxt(folder / "captures" / "a.csv", np.column_stack(pump_current(0)), delimiter=",",
                   header="Time (s),Current (A)", comments="", fmt="%.6g")  # fmt: skip
        ledger = tmp_path / f"{low}.duckdb"
        load_folder(ledger, folder, author=ANYBODY)
        [(told,)] = query(ledger, "SELECT speed_confidence FROM reading")
        confidence[low] = told
    assert confidence[3400] != confidence[9000]
