"""No file ends more than its own reading: one line a file, and the files after it get their turn."""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path

import numpy as np
import pytest

from dashboard.cli import main
from ingest.capture import Capture
from ingest.errors import CaptureRefused, EntryRefused
from ingest.fleet_folder.loading import load_folder
from ingest.ledger.connection import open_ledger
from ingest.measuring import feed, measurement
from ingest.measuring.measurement import measure
from ingest.readers.capture_file import read_capture, read_capture_bytes
from tests.authors import ANYBODY
from tests.fleet_folder.fleet_folders import ONE_UNIT, steady_visits, write_visits
from tests.ledger_fixture import small_capture, write_capture_csv

SHARED = Path(os.environ.get("PUMPLEDGER_SHARED", Path(__file__).parents[2] / "../shared")) / "captures"
HOSTILE = SHARED / "hostile_footer_ends_the_reader.parquet"
needs_hostile = pytest.mark.skipif(not HOSTILE.exists(), reason="the shared captures are not here")


def sound(folder: Path, name: str = "sound.csv", **how) -> Path:
    return write_capture_csv(folder / name, small_capture(**how))


@needs_hostile
def test_analyse_gives_every_file_its_line(tmp_path, capsys):
    before, after = sound(tmp_path, "before.csv"), sound(tmp_path, "after.csv")
    assert main(["analyse", "--json", str(before), str(HOSTILE), str(after)]) == 1
    printed = capsys.readouterr()
    lines = [json.loads(line) for line in printed.out.splitlines()]
    assert [Path(line["file"]).name for line in lines] == ["before.csv", HOSTILE.name, "after.csv"]
    assert lines[1]["refused"]["code"] == "ended-the-reader"
    assert lines[0]["mean_a"] == lines[2]["mean_a"]
    # one sentence, no word of the library's
    assert printed.err.count("\n") == 1
    assert printed.err.endswith("reading it breaks off; export or copy it again.\n")


@needs_hostile
def test_log_refuses_it_in_one_sentence_and_stores_nothing(tmp_path, capsys):
    ledger = tmp_path / "l.duckdb"
    command = ["--ledger", str(ledger), "log", str(HOSTILE), "--unit", "214", "--odometer", "88412 mi"]
    assert main(command) == 1
    printed = capsys.readouterr()
    assert printed.err.count("\n") == 1
    assert "is damaged so that reading it breaks off" in printed.err
    assert not ledger.exists() or not visits_in(ledger)


def visits_in(ledger: Path) -> list:
    with open_ledger(ledger) as connection:
        return connection.execute("SELECT visit_id FROM visit").fetchall()


@needs_hostile
@pytest.mark.parametrize("count", [3, 6])  # in this process, and through workers
def test_load_takes_the_others(tmp_path, count):
    names = [f"{k}.csv" for k in range(count - 1)]
    names.insert(1, HOSTILE.name)
    measured = ("mean_a", "ripple_pct", "rpm")
    visits = [
        {k: v for k, v in visit.items() if k not in measured} | {"capture": name}
        for visit, name in zip(steady_visits(n=count), names, strict=True)
    ]
    folder = write_visits(tmp_path / "f", visits, **ONE_UNIT)
    captures = folder / "captures"
    captures.mkdir()
    for k, name in enumerate(names):
        if name == HOSTILE.name:
            shutil.copyfile(HOSTILE, captures / name)
        else:
            sound(captures, name, mean_a=5 + 0.01 * k)
    report = load_folder(tmp_path / "l.duckdb", folder, author=ANYBODY)
    said = (
        [text for text in map(str, report.lines()) if HOSTILE.name in text]
        if hasattr(report, "lines")
        else []
    )
    with open_ledger(tmp_path / "l.duckdb") as connection:
        rows = connection.execute("SELECT count(*) FROM reading WHERE origin = 'capture'").fetchall()
    assert rows == [(count - 1,)]
    assert len(said) == 1
    assert "reading it breaks off" in said[0]


def test_a_fault_of_our_own_is_one_line_and_the_next_file_has_its_own(tmp_path, capsys, monkeypatch):
    first, second = sound(tmp_path, "first.csv"), sound(tmp_path, "second.csv")
    calls = []

    def faulty(current, rate):
        calls.append(rate)
        if len(calls) == 1:
            raise ZeroDivisionError("a fault of ours")
        return find_run(current, rate)

    find_run = measurement.find_run
    monkeypatch.setattr(measurement, "find_run", faulty)
    assert main(["analyse", str(first), str(second)]) == 1
    printed = capsys.readouterr()
    assert printed.err.count("\n") == 1
    assert "first.csv: a fault in pumpledger (ZeroDivisionError)" in printed.err
    assert printed.out.startswith(str(second))


def test_a_record_of_ten_microseconds_is_too_short_and_the_next_file_is_measured(tmp_path, capsys):
    rate = 10e6
    time_s = np.arange(100) / rate
    short = write_capture_csv(tmp_path / "short.csv", Capture(5 + 0.1 * np.sin(time_s * 1e6), rate))
    assert main(["analyse", str(short), str(sound(tmp_path))]) == 1
    printed = capsys.readouterr()
    assert " µs long, less than one ripple" in printed.err
    assert printed.err.count("\n") == 1
    assert "sound.csv" in printed.out


@pytest.mark.parametrize("rate", ["nan", "1e308", "1e-9", "-5", "0", "inf", float("nan"), 1e308, 1e-9, 1e400])
def test_absurd_rates_are_refused_in_a_sentence(tmp_path, rate):
    with pytest.raises(EntryRefused, match=r"^sample rate: .*100 kS/s"):
        read_capture(sound(tmp_path), sample_rate_hz=rate)


@pytest.mark.parametrize("probe", ["1e-9V/A", "1e308 V/A", "nan", float("inf"), 1e-9])
def test_absurd_probes_are_refused_in_a_sentence(tmp_path, probe):
    with pytest.raises(EntryRefused, match=r"^probe: .*100mV/A"):
        read_capture(sound(tmp_path), probe=probe)


@pytest.mark.parametrize("step", ["1e-300", "1e20"])
def test_absurd_times_are_refused_in_a_sentence(step):
    rows = "".join(f"{float(step) * k!r},{5 + k % 3}\n" for k in range(200))
    with pytest.raises(CaptureRefused) as refused:
        read_capture_bytes("odd.csv", b"time (s),current (A)\n" + rows.encode())
    assert refused.value.code in ("rate-absurd", "time-stands-still", "no-table")
    assert refused.value.text.startswith("odd.csv: ")


@pytest.mark.parametrize("value", ["1e30", "-1e30", "1e10"])
def test_absurd_values_are_refused_naming_the_row(value):
    rows = [f"{k / 1e4},{5 + k % 3}" for k in range(400)]
    rows[100] = f"{100 / 1e4},{value}"
    with pytest.raises(CaptureRefused, match=r"row 102 .*current") as refused:
        read_capture_bytes("odd.csv", ("time (s),current (A)\n" + "\n".join(rows) + "\n").encode())
    assert refused.value.code in ("above-100-a", "thousandfold-jump")


RUN = 5 + 0.3 * np.sin(np.arange(60_000) * 0.7) + 0.01 * np.random.default_rng(3).standard_normal(60_000)


@pytest.mark.parametrize("rate_hz", [0.01, 1.0, 99.0, 600.0, 51e6, 60e6])
def test_rates_that_hold_no_ripple_give_the_average_only_and_say_so_first(rate_hz):
    reading = measure(Capture(RUN, rate_hz))
    assert reading.notes[0].code == "average-only"
    assert reading.mean_a == pytest.approx(RUN.mean(), abs=0.01)
    untold = ("ripple_a", "ripple_pct", "raw_ripple_pct", "rpm", "revolution_ms", "sparks_per_s")
    assert [name for name in untold if getattr(reading, name) is not None] == []


@pytest.mark.parametrize("rate_hz", [700.0, 20_000.0, 50e6])
def test_other_rates_are_measured_whole(rate_hz):
    reading = measure(Capture(RUN, rate_hz))
    assert "average-only" not in {note.code for note in reading.notes}
    assert reading.raw_ripple_pct is not None


def test_a_long_run_is_measured_at_its_end():
    rate_hz = 2_000.0
    reading = measure(Capture(RUN, rate_hz))
    assert reading.steady_to_s - reading.steady_from_s <= 10.0
    assert reading.steady_to_s == pytest.approx(30.0, abs=0.1)
    assert "last-part-measured" in {note.code for note in reading.notes}


@pytest.mark.parametrize("rate_hz", [680.0, 1_000.0, 25_000.0, 200_000.0, 2e6])
def test_the_working_trace_is_bounded_whatever_the_rate(monkeypatch, rate_hz):
    sizes = []
    prepare = feed.prepare

    def watched(current, rate):
        work = prepare(current, rate)
        sizes.append((len(current), len(work.y)))
        return work

    monkeypatch.setattr(feed, "prepare", watched)
    measure(Capture(np.resize(RUN, 400_000), rate_hz))
    raw, working = sizes[0]
    assert raw <= 10 * rate_hz
    assert working <= 10 * 50_000
