"""A morning's captures are taken in once, matched where one unit is told, and wait where none is."""

import argparse
import json
import os
import re
import wave
from datetime import date
from types import SimpleNamespace

import pytest

from analytics.judging.verdict import judge_visit
from dashboard.cli import main
from dashboard.commands.take import run
from dashboard.views.tray import parts as tray_parts
from ingest.apart.child import BUSY
from ingest.chains import running
from ingest.chains.chain import CaptureResult
from ingest.chains.running import Where
from ingest.errors import EntryRefused
from ingest.harmless import as_file_name
from ingest.intake.matching import Place, match, name_rule
from ingest.intake.taking import left_alone, take_folder
from ingest.intake.tray import Named, drop, store_named
from ingest.intake.watching import Watch
from ingest.ledger.connection import open_ledger
from ingest.ledger.rows import insert_row
from ingest.ledger.upkeep import check_ledger
from tests.authors import ANYBODY
from tests.ledger_fixture import build_ledger, small_capture, write_capture_csv
from tests.pages.page_runs import open_page, seen, words

PLACES = [Place("101", "main", "S-101"), Place("7", "main", None), Place("007", "main", "AB12"),
          Place("T-9", "front", None), Place("T-9", "rear", None)]  # fmt: skip


def query(ledger, sql):
    with open_ledger(ledger) as connection:
        return connection.execute(sql).fetchall()


@pytest.mark.parametrize(
    ("name", "sidecar", "unit", "by", "day"),
    [
        ("101_2026-02-03.csv", {}, "101", "name", date(2026, 2, 3)),
        ("van 007 idle.csv", {}, "007", "name", None),
        ("trace1017.csv", {}, None, None, None),
        ("Van101 idle.csv", {}, "101", "name", None),
        ("van101_unit7.csv", {}, None, None, None),
        ("trace no7.csv", {}, None, None, None),
        ("101 and 7.csv", {}, None, None, None),
        ("20260203 AB12.csv", {}, "007", "serial", date(2026, 2, 3)),
        ("S-101.csv", {}, "101", "serial", None),
        ("7.csv", {"unit": "101", "visited_on": date(2026, 1, 1)}, "101", "sidecar", date(2026, 1, 1)),
        ("bench.csv", {"serial": "S-101"}, "101", "serial", None),
        ("T-9.csv", {}, "T-9", "name", None),
        ("a.csv", {"unit": "9999"}, None, None, None),
    ],
)  # fmt: skip
def test_what_tells_the_unit(name, sidecar, unit, by, day):
    found = match(name, sidecar, PLACES)
    assert (found.unit, found.matched_by, found.day) == (unit, by, day)
    assert bool(found.reason) == (unit is None or unit == "T-9")


def test_a_fleets_own_way_of_naming_files():
    found = match("scope-blue-7-20260203.csv", {}, PLACES, "scope-{clamp}-{unit}-{day}")
    assert (found.unit, found.clamp, found.day, found.matched_by) == ("7", "blue", date(2026, 2, 3), "name")
    with pytest.raises(EntryRefused, match="is not one of"):
        name_rule("{vehicle}_{day}")


@pytest.fixture(scope="module")
def morning(tmp_path_factory):
    """A ledger, a clamp and a folder of six files, taken in."""
    root = tmp_path_factory.mktemp("morning")
    ledger = build_ledger(root / "fleet.duckdb")
    with open_ledger(ledger, read_only=False) as con:
        insert_row(con, "clamp", {"clamp": "blue", "factor": "100mV/A"})
    folder = root / "monday"
    folder.mkdir()
    for n, name in enumerate(("101_2026-02-03.csv", "S-102.csv", "unknown.csv")):
        write_capture_csv(folder / name, small_capture(mean_a=5.0 + 0.1 * n, seconds=0.2))
    volts = small_capture(mean_a=0.55, rpm=6100, seconds=0.2)
    path = write_capture_csv(folder / "103.csv", volts)
    path.write_text(path.read_text().replace("Current (A)", "Clamp (V)"), encoding="utf-8")
    (folder / "103.json").write_text(
        json.dumps({"Visited on": "2026-02-03", "odometer": "138000 km", "supply_v": 13.4, "state": "idle"})
    )
    (folder / "twice.csv").write_bytes((folder / "unknown.csv").read_bytes())
    (folder / "broken.csv").write_bytes(b"Time (s),Current (A)\n0,1\n")
    arrivals = {a.file_name: a for a in take_folder(ledger, folder, author=ANYBODY, clamp="blue")}
    return ledger, folder, arrivals


def test_a_morning_is_taken_stored_and_known_again(morning):
    ledger, folder, arrivals = morning
    told = {name: (a.status, a.match.unit, a.match.matched_by) for name, a in arrivals.items()}
    assert told == {
        "101_2026-02-03.csv": ("matched", "101", "name"),
        "103.csv": ("matched", "103", "name"),
        "S-102.csv": ("matched", "102", "serial"),
        "broken.csv": ("refused", None, None),
        "twice.csv": ("waiting", None, None),
        "unknown.csv": ("known", None, None),
    }
    assert arrivals["103.csv"].result.reading.mean_a == pytest.approx(
        5.5, rel=0.02
    )  # volts by the clamp's factor
    assert not [f.text for f in check_ledger(ledger).findings if f.level == "problem"]
    again = {a.file_name: a.status for a in take_folder(ledger, folder, author=ANYBODY, clamp="blue")}
    assert set(again.values()) == {"known", "matched"}  # what waits to be confirmed still does
    assert {name for name in again if again[name] == "matched"} == {
        "101_2026-02-03.csv",
        "103.csv",
        "S-102.csv",
    }
    assert query(ledger, "SELECT count(*) FROM tray") == [(5,)]
    named = [Named(a.tray_id, a.match.unit) for a in arrivals.values() if a.status == "matched"]
    stored, failed, shifts = store_named(
        ledger, [*named, Named(arrivals["twice.csv"].tray_id, "nobody's")], author=ANYBODY
    )
    assert ([logged.stored for logged in stored], shifts) == ([True] * 3, [])
    assert "nobody's is not on record" in failed[arrivals["twice.csv"].tray_id]
    columns = "unit, visited_on::VARCHAR, round(odometer_km), odometer_unit, supply_v, state, clamp"
    kept = query(ledger, f"SELECT {columns} FROM visit"
                 " WHERE visit_id > 40 ORDER BY unit")  # fmt: skip
    assert kept[0][:2] == ("101", "2026-02-03")
    assert kept[2] == ("103", "2026-02-03", 138000, "km", 13.4, "idle", "blue")
    assert {a.status for a in take_folder(ledger, folder, author=ANYBODY)} == {"known"}
    assert query(ledger, "SELECT count(*) FROM visit") == [(43,)]


def test_a_file_that_can_be_read_now_takes_the_place_of_its_refusal(morning):
    ledger, folder, _ = morning
    assert query(ledger, "SELECT count(*) FROM tray WHERE status = 'refused'") == [(1,)]
    write_capture_csv(folder / "broken.csv", small_capture(mean_a=5.7, seconds=0.2))
    [arrival] = take_folder(ledger, folder, author=ANYBODY, files=[folder / "broken.csv"])
    assert arrival.status == "waiting"
    assert query(ledger, "SELECT count(*) FROM tray WHERE status = 'refused'") == [(0,)]
    with pytest.raises(EntryRefused, match="Give a reason"):
        drop(ledger, arrival.tray_id, " ", author=ANYBODY)
    drop(ledger, arrival.tray_id, "bench trial", author=ANYBODY)
    with pytest.raises(EntryRefused, match="does not wait"):
        drop(ledger, arrival.tray_id, "again", author=ANYBODY)
    [again] = take_folder(ledger, folder, author=ANYBODY, files=[folder / "broken.csv"])
    assert again.status == "known"


def test_a_file_that_a_busy_machine_left_out_is_tried_again_by_itself(morning, monkeypatch):
    ledger, folder, _ = morning
    late = write_capture_csv(folder / "late.csv", small_capture(mean_a=5.8, seconds=0.2))
    tries = []

    def starved(chains, *given, **how):
        tries.append(how)
        run = running.run_chains(chains, *given, **how)
        for name in run.rows if len(tries) == 1 else ():
            run.rows[name] = CaptureResult(name, refused=f"late.csv: {BUSY}.")
        return run

    monkeypatch.setattr("ingest.intake.taking.run_chains", starved)
    [arrival] = take_folder(ledger, folder, author=ANYBODY, files=[late])
    assert (arrival.status, len(tries)) == ("waiting", 2)
    drop(ledger, arrival.tray_id, "of this test", author=ANYBODY)
    late.unlink()


def test_the_page_shows_what_waits(morning, monkeypatch):
    monkeypatch.setenv("PUMPLEDGER", str(morning[0]))
    page = open_page("tray")
    assert "1 file waits" in words(page)
    [table] = [d.value for d in page.dataframe]
    assert table["Why"].tolist() == ["Neither its name nor a sidecar tells the unit."]
    assert len(table["Trace"].iloc[0]) == 48
    page.text_input(key="take_folder").set_value(str(morning[1]))
    page.text_input(key="take_rate").set_value("50 kS/s")
    page.text_input(key="take_by").set_value("AB")
    next(b for b in page.button if b.label == "Take them in").click()
    page.run()
    assert "6 files looked at: 6 were there before" in words(page)


def test_the_command_takes_names_and_lists(tmp_path, capsys):
    ledger = build_ledger(tmp_path / "l.duckdb")
    folder = tmp_path / "f"
    folder.mkdir()
    write_capture_csv(folder / "101.csv", small_capture(seconds=0.2))
    write_capture_csv(folder / "101 again.csv", small_capture(seconds=0.2))
    write_capture_csv(folder / "x.csv", small_capture(mean_a=5.4, seconds=0.2))
    take = ["take", "--ledger", str(ledger)]
    assert main([*take, str(folder), "--store"]) == 0
    out, err = capsys.readouterr()
    assert "101.csv" in out
    assert "These samples are in the tray as 1 already, from 101 again.csv." in out
    assert "Stored as visit 41 of unit 101" in err
    with open_ledger(ledger) as connection:
        assert judge_visit(connection, 41).text in err
    assert main(take) == 0
    assert "x.csv" in capsys.readouterr().out
    assert main([*take, "--name", "2=102"]) == 0
    assert "unit 102" in capsys.readouterr().err
    assert main(take) == 0
    assert "The tray is empty" in capsys.readouterr().out
    assert main([*take, str(folder), "--clamp", "green"]) == 1
    assert "Clamp green is not on record" in capsys.readouterr().err


def test_what_spoils_a_reading_is_told_at_once_and_a_rate_that_no_file_tells_is_taken(tmp_path, capsys):
    folder = tmp_path / "f"
    folder.mkdir()
    short = small_capture(seconds=0.015)
    for name in ("a", "b", "c"):
        current = small_capture(mean_a=5 + 0.1 * ord(name)).current_a
        rows = "\n".join(f"{a:.4f}" for a in (current if name != "c" else short.current_a))
        (folder / f"{name}.csv").write_text(f"Current (A)\n{rows}\n", encoding="utf-8")
    take = ["take", str(folder), "--ledger", str(build_ledger(tmp_path / "l.duckdb"))]
    assert main(take) == 0
    assert capsys.readouterr().out.count("say it with --sample-rate") == 3
    assert main([*take, "--sample-rate", f"{short.sample_rate_hz:.0f}Hz"]) == 0
    out, err = capsys.readouterr()
    assert out.count("waiting") == 3
    assert out.count("turns") == 1  # of the short one, under it
    assert "turns" in out.split("c.csv")[1]
    assert err.count("3 files: No stretch with the pump off") == 1
    assert "segments" not in out + err  # which its pump will tell


def test_what_is_not_looked_into_is_said(tmp_path):
    for name in ("visits.xlsx", "scope 7.xlsx", "101.csv"):
        (tmp_path / name).touch()
    (tmp_path / "tuesday").mkdir()
    said = (
        "Not looked into: the folder tuesday, the workbook scope 7.xlsx; take each folder by itself; save a"
    )
    assert left_alone(tmp_path) == f"{said} capture that is in a workbook as CSV."
    assert left_alone(tmp_path / "tuesday") == ""


def test_full_scale_of_audio_files_can_be_told(tmp_path, capsys):
    folder = tmp_path / "f"
    folder.mkdir()
    with wave.open(str(folder / "101.wav"), "wb") as audio:
        audio.setparams((1, 2, 48_000, 0, "NONE", ""))
        audio.writeframes((small_capture(seconds=0.1).current_a / 20 * 32767).astype("<i2").tobytes())
    take = ["take", str(folder), "--ledger", str(build_ledger(tmp_path / "l.duckdb"))]
    assert main(take) == 0
    assert "with --full-scale" in capsys.readouterr().out
    assert main([*take, "--full-scale", "20A"]) == 0
    assert re.search(r"101\.wav +matched .* 5\.0\d A", capsys.readouterr().out)


def test_how_the_engine_ran_is_asked_for_and_told_for_all_at_once(tmp_path, capsys):
    folder = tmp_path / "f"
    folder.mkdir()
    write_capture_csv(folder / "101.csv", small_capture(seconds=0.2))
    write_capture_csv(folder / "102.csv", small_capture(mean_a=5.2, seconds=0.2))
    (folder / "102.json").write_text('{"state": "prime"}', encoding="utf-8")
    ledger = build_ledger(tmp_path / "l.duckdb")
    take = ["take", str(folder), "--ledger", str(ledger)]
    assert main(take) == 0
    assert "Of 1 file nobody says how the engine ran" in capsys.readouterr().err
    assert main([*take, "--store", "--state", "idle"]) == 0
    assert "nobody says" not in capsys.readouterr().err
    told = "SELECT unit, state FROM visit_detail WHERE visit_id > 40 ORDER BY unit"
    assert query(ledger, told) == [("101", "idle"), ("102", "prime")]


def test_watched_files_are_ready_when_size_and_time_rest(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("1")
    watch = Watch()
    assert watch.ready([path], 0.0) == []
    assert watch.ready([path], 2.9) == []
    path.write_text("12\n3")  # still growing, and cut off inside a line
    assert watch.ready([path], 3.1) == []
    assert watch.ready([path], 6.2) == []
    path.write_text("12\n")
    assert watch.ready([path], 7.1) == []
    assert watch.ready([path], 10.0) == []
    assert watch.ready([path], 10.2) == [path]
    watch.taken(path)
    assert watch.ready([path], 20.0) == []
    path.write_text("12\n3")  # as some recorders end their files
    assert watch.ready([path], 21.0) == []
    assert watch.ready([path], 24.0) == []
    assert watch.ready([path], 51.0) == [path]
    path.unlink()
    assert watch.ready([path], 30.0) == []


def test_a_watched_folder_is_taken_as_its_files_come_to_rest(tmp_path, capsys, monkeypatch):
    """A file that grows, one that can't be read, and a share that is away for a while."""
    ledger, folder, away = build_ledger(tmp_path / "l.duckdb"), tmp_path / "f", tmp_path / "away"
    folder.mkdir()
    whole = write_capture_csv(tmp_path / "whole.csv", small_capture(seconds=0.2)).read_text()
    (folder / "101.csv").write_text(whole[: len(whole) // 2])
    (folder / "102 <b>.csv").write_bytes(b"Time (s),Current (A)\n0,1\n")
    at = [0.0]

    def sleep(seconds):
        at[0] += seconds
        if at[0] == 2:
            (folder / "101.csv").write_text(whole)
        elif at[0] == 8:
            folder.rename(away)
        elif at[0] == 10:
            away.rename(folder)
        elif at[0] == 14:
            raise KeyboardInterrupt

    monkeypatch.setattr("dashboard.commands.take.time", SimpleNamespace(monotonic=lambda: at[0], sleep=sleep))
    with pytest.raises(KeyboardInterrupt):
        run(argparse.Namespace(ledger=ledger, folder=folder, clamp=None, sample_rate=None,
                               full_scale=None, state=None,
                               store=True, watch=True, name=[], drop=[], by="AB", json=False, processes=None,
                               cluster=None))  # fmt: skip
    out, err = capsys.readouterr()
    assert query(ledger, "SELECT file_name, status FROM tray ORDER BY 1") == [
        ("101.csv", "stored"), ("102 <b>.csv", "refused"),
    ]  # fmt: skip
    assert query(ledger, "SELECT samples FROM capture JOIN tray USING (capture_hash)") == [
        (len(whole.splitlines()) - 1,)
    ]
    assert out.count("101.csv") == out.count("refused  102") == 1
    assert "Of 1 file nobody says how the engine ran" in err
    assert err.count("Looking again") == 1


def test_a_file_rests_longer_while_samples_are_missing_that_its_header_speaks_of(tmp_path):
    rows = "".join(f"{n / 1000:.3f}\n" for n in range(64))
    timed = "# sample interval 1 ms\nRecord length: "
    heads = {"Samples,64": True, "Samples,65": False, f"{timed}64 ms": True, f"{timed}70 ms": False}
    for head, whole in heads.items():
        path = tmp_path / f"{whole}.csv"
        path.write_text(f"{head}\nCurrent (A)\n{rows}")
        watch = Watch()
        watch.ready([path], 0.0)
        assert watch.ready([path], 3.0) == ([path] if whole else []), head
        assert watch.ready([path], 30.0) == [path]


def test_a_longer_copy_of_a_file_is_the_same_visit_measured_again(tmp_path, capsys):
    """One that waits, one stored, one let go: whatever became of the beginning becomes of the whole."""
    ledger, folder = build_ledger(tmp_path / "l.duckdb"), tmp_path / "f"
    folder.mkdir()
    whole = {name: write_capture_csv(folder / f"{name}.csv", small_capture(mean_a=a, seconds=0.3)).read_text()
             for name, a in (("101", 5.0), ("wait", 5.2), ("bench", 5.4))}  # fmt: skip
    for name, text in whole.items():
        (folder / f"{name}.csv").write_text(text[: len(text) // 2])
    take = ["take", str(folder), "--store", "--ledger", str(ledger)]
    assert main(take) == 0
    assert main(["take", "--drop", "2=bench trial", "--ledger", str(ledger)]) == 0
    before = query(ledger, "SELECT tray_id, file_name, status FROM tray ORDER BY 1")
    assert before == [(1, "101.csv", "stored"), (2, "bench.csv", "dropped"), (3, "wait.csv", "waiting")]
    capsys.readouterr()
    for name, text in whole.items():
        (folder / f"{name}.csv").write_text(text)
    assert main(take) == 0
    out, err = capsys.readouterr()
    assert "A longer copy of visit 41 of unit 101, which is measured again from it." in out
    assert "A longer copy of file 3 of the tray." in out
    assert "A longer copy of file 2 of the tray, which was let go." in out
    with open_ledger(ledger) as connection:
        assert judge_visit(connection, 41).text in err
    assert query(ledger, "SELECT tray_id, file_name, status FROM tray ORDER BY 1") == before
    lengths = "SELECT DISTINCT samples FROM tray JOIN capture USING (capture_hash)"
    assert query(ledger, lengths) == [(15_000,)]
    assert query(
        ledger, "SELECT samples FROM visit JOIN capture USING (capture_hash) WHERE visit_id = 41"
    ) == [(15_000,)]
    assert query(ledger, "SELECT count(*) FROM reading WHERE visit_id = 41") == [(2,)]
    reasons = query(ledger, "SELECT reason FROM change_log WHERE row_key = '41' AND field = 'capture_hash'")
    assert reasons[-1][0].startswith("a longer copy of its file came: 15,000 samples")
    for name, text in whole.items():  # and a copy that comes short once more is known
        (folder / f"{name}.csv").write_text(text[: len(text) // 3])
    assert {a.status for a in take_folder(ledger, folder, author=ANYBODY)} == {"known"}
    assert query(ledger, lengths) == [(15_000,)]
    assert not [f.text for f in check_ledger(ledger).findings if f.level == "problem"]


def test_a_hostile_name_is_text_in_the_tray(tmp_path, monkeypatch):
    ledger = build_ledger(tmp_path / "l.duckdb")
    name = "<img src=x onerror=alert(1)> [a](b) $x$ :red[y].csv"
    row = {"status": "waiting", "file_name": name, "file_hash": "f", "reason": f"**{name}**", "clamp": name}
    with open_ledger(ledger, read_only=False) as con:
        insert_row(con, "tray", row)
        insert_row(con, "tray", row | {"status": "refused", "file_hash": "g"})
    monkeypatch.setenv("PUMPLEDGER", str(ledger))
    page = open_page("tray")
    tables = [d.value for d in page.dataframe]  # drawn on a canvas, never as markup
    assert [table["File"].tolist() for table in tables] == [[name]]
    raw = "\n".join(str(e.value) for kind in (page.markdown, page.caption, page.error) for e in kind)
    for mark in ("<img", "[a](b)", "$x$", ":red["):
        assert mark not in raw.replace("\\" + mark, "")


def test_a_name_that_is_no_text_keeps_no_other_file_from_the_tray(tmp_path, monkeypatch):
    """Codes, a line end, letters turned round, half a letter, a name too long for a line."""
    ledger = build_ledger(tmp_path / "l.duckdb")
    folder = tmp_path / "f"
    folder.mkdir()
    odd = [b"\x1b[31m", b"a\nb", "a\u202egnp".encode(), b"\xff\xe9", b"x" * 246, "A\u030a".encode()]
    for name in odd:
        (folder / os.fsdecode(name + b".csv")).write_bytes(name)
    write_capture_csv(folder / "101.csv", small_capture(mean_a=6.1, seconds=0.2))
    arrivals = take_folder(ledger, folder, author=ANYBODY, where=Where(processes=1))
    kept = {"\ufffd[31m.csv", "a b.csv", "a\ufffdgnp.csv", "\ufffd\ufffd.csv", "x" * 246 + ".csv", "\xc5.csv"}
    assert {a.file_name: a.status for a in arrivals} == dict.fromkeys(kept, "refused") | {
        "101.csv": "matched"
    }
    assert {name for (name,) in query(ledger, "SELECT file_name FROM tray")} == kept | {"101.csv"}
    monkeypatch.setenv("PUMPLEDGER", str(ledger))
    shown = words(open_page("tray"))
    assert all(name in shown for name in kept)
    assert as_file_name("y" * 1000) == "y" * 127 + "…" + "y" * 128


def test_a_name_is_text_while_its_folder_is_taken(tmp_path, monkeypatch):
    said = []
    bar = SimpleNamespace(progress=lambda share, text: said.append(text), empty=lambda: None)
    monkeypatch.setenv("PUMPLEDGER", str(tmp_path / "l.duckdb"))
    monkeypatch.setattr(tray_parts.st, "progress", lambda *a: bar)

    def take(*a, progress, **k):
        progress(1, 2, "/in/![p](x).csv")
        return []

    monkeypatch.setattr("ingest.intake.taking.take_folder", take)
    tray_parts._take(str(tmp_path), "", "AB")
    assert [seen(text) for text in said] == ["![p](x).csv: 1 of 2"]
    assert "![p](x)" not in said[0]


def test_what_a_person_is_shown_of_a_file():
    import pandas as pd

    from dashboard.views.tray.parts import waiting_table

    row = {"tray_id": 1, "unit": None, "reason": "why", "picture": None, "file_name": "a",
           "captured_on": date(2026, 1, 1), "mean_a": 5.123, "rpm": None, "clamp": None, "age_days": 3,
           "matched_by": None, "entry": None}  # fmt: skip
    said = {"odometer_km": 142000.5, "odometer_entered": 88412.0, "odometer_unit": "mi", "state": "idle"}
    told = row | {"tray_id": 2, "unit": "101", "reason": None, "matched_by": "name", "picture": [1.0, 2.0],
                  "entry": json.dumps(said | {"supply_v": 13.4}), "rpm": 6012.4}  # fmt: skip
    table = waiting_table(pd.DataFrame([row, told]))
    assert table["Store"].tolist() == [False, True]
    assert table["Why"].tolist() == ["why", "unit told by its name"]
    assert table["Trace"].tolist() == [[], [1.0, 2.0]]
    typed = table[["Odometer", "Engine", "Volts", "rpm"]].to_numpy().tolist()
    assert typed == [["", "", "", "–"], ["88412 mi", "idle", "13.4", "6,012"]]


def test_units_that_come_on_record_later_are_told_of_files_that_wait(tmp_path, capsys):
    """An empty ledger: the files wait, the units are added, and the same folder taken again matches them."""
    folder, ledger = tmp_path / "f", tmp_path / "l.duckdb"
    folder.mkdir()
    write_capture_csv(folder / "Unit 214 idle.csv", small_capture(seconds=0.2))
    path = write_capture_csv(folder / "215.csv", small_capture(mean_a=0.53, seconds=0.2))
    path.write_text(path.read_text().replace("Current (A)", "Clamp (V)"), encoding="utf-8")
    take = ["take", str(folder), "--ledger", str(ledger)]
    assert main(take) == 0
    out, err = capsys.readouterr()
    assert "No unit with a pump is on record yet" in err
    assert "name the clamp that they were taken with" in out
    assert "--probe" not in out
    main(["add", "unit", "214", "pump_type=FP-10", "--ledger", str(ledger)])
    main(["add", "unit", "215", "--ledger", str(ledger)])
    main(["clamp", "blue", "--factor", "100mV/A", "--ledger", str(ledger)])
    assert main([*take, "--clamp", "blue"]) == 0
    assert "Unit 215, which its name names, has no pump in service on record; add its pump." in (
        capsys.readouterr().out
    )
    main(["add", "unit", "215", "pump_type=FP-10", "--ledger", str(ledger)])
    assert main([*take, "--clamp", "blue", "--store"]) == 0
    assert query(ledger, "SELECT unit FROM visit ORDER BY 1") == [("214",), ("215",)]
