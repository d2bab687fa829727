"""Clamps: registered, used, checked, overdue, and found out when one shifts a morning."""

from datetime import date, timedelta

import numpy as np
import pytest

from analytics.judging.facts import clamp_accuracy_a
from dashboard.cli import main
from dashboard.data import loaders
from dashboard.views.pump_history import parts
from ingest.checking.clamp_shift import shift_of
from ingest.fleet_folder.export import export_ledger
from ingest.fleet_folder.loading import load_folder
from ingest.intake.clamp_checks import hold_shifts, record_check
from ingest.ledger.connection import open_ledger
from ingest.ledger.questions import raise_question
from ingest.ledger.rows import as_dicts, insert_row
from ingest.ledger.settings import settings_at
from ingest.ledger.upkeep import check_ledger
from ingest.visit.settling import offered, settle_questions
from ingest.wording.odometer_questions import odometer_question
from tests.authors import ANYBODY
from tests.fleet_folder.fleet_folders import ONE_UNIT, write_folder
from tests.ledger_fixture import LAST_VISIT, UNITS, build_ledger, small_capture, write_capture_csv
from tests.pages.page_runs import open_page, words


def query(ledger, sql):
    with open_ledger(ledger) as connection:
        return connection.execute(sql).fetchall()


@pytest.fixture
def ledger(tmp_path):
    return build_ledger(tmp_path / "fleet.duckdb")


def volts(path):
    write_capture_csv(path, small_capture(mean_a=0.5, seconds=0.1))
    path.write_text(path.read_text().replace("Current (A)", "Clamp (V)"), encoding="utf-8")
    return path


def test_a_clamp_is_registered_used_and_said_to_be_overdue(ledger, tmp_path, capsys):
    run = ["clamp", "--ledger", str(ledger)]
    assert main([*run, "blue", "--factor", "loud"]) == 1
    assert "not a clamp's output" in capsys.readouterr().err
    assert (
        main([*run, "blue", "--factor", "100mV/A", "--range-a", "30", "--due-on", "2026-01-31", "--pct", "1"])
        == 0
    )
    assert main(run) == 0
    assert "blue         100mV/A, to 30 A, due 2026-01-31 OVERDUE" in capsys.readouterr().out
    file = volts(tmp_path / "v.csv")
    log = ["log", str(file), "--unit", "102", "--odometer", "138000 km", "--date", "2026-02-03",
           "--clamp", "blue", "--ledger", str(ledger)]  # fmt: skip
    assert main(log) == 0
    assert "Clamp blue was due for a check on 2026-01-31" in capsys.readouterr().out
    [(probe, mean_a)] = query(ledger, "SELECT probe, mean_a FROM visit JOIN current_reading USING (visit_id)"
                              " WHERE clamp = 'blue'")  # fmt: skip
    assert (probe, mean_a) == ("100mV/A", pytest.approx(5.0, rel=0.03))
    with open_ledger(ledger) as connection:
        visit = connection.execute("SELECT * FROM visit_detail WHERE clamp = 'blue'").df()
        known = clamp_accuracy_a(visit, np.array([5.0]), settings_at(connection))
        other = clamp_accuracy_a(visit.assign(clamp="red"), np.array([5.0]), settings_at(connection))
    assert known < other  # 1 % of the registered clamp, not 2


def test_a_check_on_a_known_current_is_one_entry(ledger, capsys):
    run = ["clamp", "blue", "--ledger", str(ledger)]
    assert main([*run, "--known", "5", "--read", "5.02"]) == 1
    assert "is not on record" in capsys.readouterr().err
    main([*run, "--factor", "100mV/A"])
    capsys.readouterr()
    assert main([*run, "--known", "5", "--read", "5.02", "--date", "2026-02-02"]) == 0
    assert "+0.02 A, +0.4 %; it may be off by 0.15 A." in capsys.readouterr().out
    assert query(ledger, "SELECT checked_on::VARCHAR FROM clamp") == [("2026-02-02",)]
    assert main([*run, "--known", "5", "--read", "5.4", "--date", "2026-02-09"]) == 1
    assert query(
        ledger, "SELECT code, row_key FROM question WHERE status = 'open' AND table_name = 'clamp'"
    ) == [("clamp-off", "blue")]
    capsys.readouterr()
    assert main(["questions", "--kind", "clamp-off", "--as", "since-check", "--ledger", str(ledger)]) == 0
    assert "0 readings of clamp blue since 2026-02-03 scaled by 0.926" in capsys.readouterr().out
    assert query(ledger, "SELECT factor FROM clamp") == [("108mV/A",)]


def test_what_a_check_says_of_a_clamp_is_scaled_until_it_passed_again_and_where_it_is_a_factor(ledger):
    visit = {"unit": "102", "pump_id": 2, "clamp": "blue", "state": "idle"}
    days = [LAST_VISIT + timedelta(days=n) for n in (1, 5, 9)]
    with open_ledger(ledger, read_only=False) as con:
        insert_row(con, "clamp", {"clamp": "blue", "factor": "100mV/A"})
        for day in days:
            visit_id = insert_row(con, "visit", visit | {"visited_on": day})
            reading = {"visit_id": visit_id, "origin": "elsewhere", "method_version": 1, "mean_a": 5.5}
            insert_row(con, "reading", reading)

    def check(known_a, read_a, after_days):
        day = LAST_VISIT + timedelta(days=after_days)
        record_check(ledger, "blue", known_a, read_a, on=day, author=ANYBODY)

    def offered_now():
        with open_ledger(ledger) as con:
            row = as_dicts(con.execute("SELECT * FROM question WHERE code = 'clamp-off'"))[0]
            return {choice.key: choice for choice in offered(con, row) if choice.times is not None}

    check(5, 5.0, 3)
    check(5, 5.5, 6)
    both = offered_now()["since-check"]
    assert "scale 2 readings by 0.909, and put its factor right: 110mV/A" in both.label
    check(5, 5.0, 8)  # mended: its factor was right, and what it read since is
    [mended] = offered_now().values()
    assert (mended.label.split(": ")[-1], mended.values) == ("scale 1 reading by 0.909", {})
    check(10, 10.5, 6)  # half an ampere at 10 A as at 5 A: a zero that was left
    assert offered_now() == {}


def test_load_reads_volts_with_the_factor_of_the_clamp_and_says_what_is_overdue(tmp_path):
    folder = write_folder(
        tmp_path / "f", **ONE_UNIT, clamps="clamp,factor,due_on\nblue,100 mV/A,2024-01-31",
        clamp_checks="clamp,checked_on,known_a,read_a\nblue,2024-01-02,5,5.01",
        visits="unit,visited_on,capture,clamp\nT1,2024-02-05,v.csv,blue",
    )  # fmt: skip
    (folder / "captures").mkdir()
    volts(folder / "captures" / "v.csv")
    ledger = tmp_path / "l.duckdb"
    report = load_folder(ledger, folder, author=ANYBODY)
    assert not report.refused
    assert any("Clamp blue was due for a check on 2024-01-31" in n for n in report.notices)
    assert query(ledger, "SELECT mean_a FROM reading") == [(pytest.approx(5.0, rel=0.03),)]
    export_ledger(ledger, tmp_path / "out")
    again = load_folder(ledger, tmp_path / "out", author=ANYBODY)
    assert (again.changes, again.refused) == (0, ())


def test_a_shift_wants_many_pumps_that_move_alike():
    rng = np.random.default_rng(7)
    alike = np.log(1.06) + rng.normal(0, 0.01, 12)
    assert shift_of(alike) == pytest.approx(0.06, abs=0.01)
    assert shift_of(alike[:4]) is None
    assert shift_of(rng.normal(0, 0.01, 12)) is None
    assert shift_of(np.r_[np.log(1.3), rng.normal(0, 0.01, 11)]) is None  # one pump with a fault


def test_a_clamp_that_shifted_a_morning_is_named_held_and_asked_about_once(ledger, capsys):
    day = LAST_VISIT + timedelta(days=90)
    with open_ledger(ledger, read_only=False) as con:
        for i, unit in enumerate(UNITS[1:]):
            pump_id, mean_a = con.execute(
                "SELECT pump_id, median(mean_a) FROM visit_detail WHERE unit = ? AND removed_on IS NULL"
                " GROUP BY ALL",
                [unit],
            ).fetchall()[0]
            visit = {"unit": unit, "pump_id": pump_id, "visited_on": day, "clamp": "blue", "state": "idle"}
            visit_id = insert_row(con, "visit", visit | {"odometer_km": 144_000})
            reading = {"visit_id": visit_id, "origin": "elsewhere", "method_version": 1}
            insert_row(con, "reading", reading | {"mean_a": mean_a * (1.08 + 0.002 * i)})
        raise_question(con, "visit", str(visit_id), odometer_question("odometer-too-far", 9e5, 0.0, "km"))
        con.execute("UPDATE visit SET in_trend = FALSE WHERE visit_id = ?", [visit_id])
    [(odometer,)] = query(ledger, "SELECT max(question_id) FROM question")
    assert main(["clamp", "--shifts", "--ledger", str(ledger)]) == 0
    assert f"Clamp blue on {day}: 7 pumps +8.6 %" in capsys.readouterr().out
    assert query(ledger, "SELECT count(*) FROM visit WHERE NOT in_trend") == [(7,)]
    settle_questions(ledger, [odometer], "as-typed", "seen twice", ANYBODY, command="test")
    assert query(ledger, "SELECT count(*) FROM visit WHERE NOT in_trend") == [
        (7,)
    ]  # its clamp was off as well
    [(question_id,)] = query(ledger, "SELECT question_id FROM question WHERE code = 'clamp-shift'")
    assert hold_shifts(ledger, author=ANYBODY) == []  # asked once
    settle_questions(ledger, [question_id], "as-typed", "all on winter fuel", ANYBODY, command="test")
    assert query(ledger, "SELECT count(*) FROM visit WHERE NOT in_trend") == [(0,)]
    assert hold_shifts(ledger, author=ANYBODY) == []


def test_what_a_clamp_read_since_it_was_off_is_scaled_at_one_answer_and_taken_back_as_one(
    ledger, tmp_path, capsys, monkeypatch
):
    """Pumps read right in one round and 8 % high in the next, one of them from a capture; then the check."""
    days = [LAST_VISIT + timedelta(days=30 * n) for n in (1, 2, 3)]
    told = ["--ledger", str(ledger)]
    main(["clamp", "blue", "--factor", "100mV/A", *told])
    main(["clamp", "blue", "--known", "5", "--read", "5.02", "--date", str(LAST_VISIT), *told])
    with open_ledger(ledger, read_only=False) as con:
        levels = con.execute(
            "SELECT unit, pump_id, median(mean_a) FROM visit_detail WHERE removed_on IS NULL GROUP BY ALL"
        ).fetchall()
        for n, unit, pump_id, level in ((n, *row) for n in (0, 1) for row in levels if row[0] != "101"):
            visit = {
                "unit": unit,
                "pump_id": pump_id,
                "visited_on": days[n],
                "clamp": "blue",
                "state": "idle",
            }
            visit_id = insert_row(con, "visit", visit | {"odometer_km": 144_000 + 1_000 * n})
            reading = {"visit_id": visit_id, "origin": "elsewhere", "method_version": 1}
            insert_row(con, "reading", reading | {"mean_a": level * (1.08 if n else 1.0)})
    monkeypatch.setattr("dashboard.commands.log._decision", lambda *_: None)  # no part of this
    file = write_capture_csv(tmp_path / "v.csv", small_capture(mean_a=0.57 * 1.08, seconds=0.1))
    file.write_text(file.read_text().replace("Current (A)", "Clamp (V)"), encoding="utf-8")
    seen = ["--unit", "101", "--odometer", "145000 km", "--date", str(days[1]), "--state", "idle"]
    main(["log", str(file), "--clamp", "blue", *seen, *told])
    main(["clamp", "--shifts", *told])
    main(["clamp", "blue", "--known", "5", "--read", "5.4", "--date", str(days[2]), *told])
    figures = (
        "SELECT visit_id, round(mean_a, 6), in_trend, capture_hash FROM visit_detail"
        f" WHERE clamp = 'blue' AND visited_on = '{days[1]}' ORDER BY 1"
    )
    before = query(ledger, figures)
    assert [row[2] for row in before] == [False] * 8
    capsys.readouterr()
    assert main(["questions", "--kind", "clamp-off", *told]) == 0
    listed = capsys.readouterr().out
    also = "scale 15 readings by 0.926, and put its factor right: 108mV/A"
    assert f"--as since-check: Off ever since its check of {LAST_VISIT}: {also}" in listed
    moved = f"Off since {days[1]}, when its pumps' readings moved"
    assert f"--as since-moved: {moved}: {also.replace('15', '8')}" in listed
    assert "--right 2026-03-31: off since that day" in listed
    [(number,)] = query(ledger, "SELECT question_id FROM question WHERE code = 'clamp-off'")
    assert main(["questions", "--kind", "clamp-off", "--right", str(days[1]), *told]) == 0
    said = capsys.readouterr().out
    assert f"8 readings of clamp blue since {days[1]} scaled by 0.926. --undo {number}" in said
    after = query(ledger, figures)
    assert [a[1] / b[1] for a, b in zip(after, before, strict=True)] == pytest.approx(
        [1 / 1.08] * 8, rel=1e-4
    )
    assert [row[2] for row in after] == [True] * 8
    assert query(ledger, "SELECT factor FROM clamp") == [("108mV/A",)]
    assert query(ledger, "SELECT probe FROM visit WHERE capture_hash IS NOT NULL") == [("108mV/A",)]
    asked = "FROM question WHERE status = 'open' AND table_name = 'clamp'"
    assert query(ledger, f"SELECT count(*) {asked}") == [(0,)]
    assert query(ledger, "SELECT count(*) FROM change_log WHERE reason LIKE 'Off since%'")[0][0] >= 8
    assert main(["questions", "--undo", str(number), "--why", "the shunt was wrong", *told]) == 0
    assert query(ledger, figures) == before
    assert query(ledger, "SELECT factor FROM clamp") == [("100mV/A",)]
    assert query(ledger, f"SELECT code {asked} ORDER BY 1") == [("clamp-off",), ("clamp-shift",)]
    assert main(["questions", "--undo", str(number), "--why", "again", *told]) == 1
    assert "No answer to question" in capsys.readouterr().err
    assert not [f.text for f in check_ledger(ledger).findings if f.level == "problem"]


def test_the_page_registers_lists_and_checks(ledger, monkeypatch):
    monkeypatch.setenv("PUMPLEDGER", str(ledger))
    with open_ledger(ledger, read_only=False) as con:
        insert_row(con, "clamp", {"clamp": "blue", "factor": "100mV/A", "due_on": date(2025, 1, 1)})
    page = open_page("fleet_data", part="Clamps")
    assert "Due for a check: blue" in words(page)
    page.selectbox(key="check_clamp").set_value("blue")
    for key, text in (("check_known", "5"), ("check_read", "5.01"), ("check_by", "AB")):
        page.text_input(key=key).set_value(text)
    next(b for b in page.button if b.label == "Keep this check").click()
    page.run()
    assert "Clamp blue read 5.01 A on 5 A" in words(page)
    assert query(ledger, "SELECT checked_by, read_a FROM clamp_check") == [("AB", 5.01)]


def test_a_study_is_worked_out_and_kept(ledger, tmp_path, capsys):
    rng = np.random.default_rng(3)
    lines = [f"{t},{p},{5 + p + rng.normal(0, 0.02):.3f}" for t in "AB" for p in range(4) for _ in range(3)]
    (tmp_path / "s.csv").write_text("Technician,Pump,Measured\n" + "\n".join(lines), encoding="utf-8")
    assert main(["clamp", "blue", "--study", str(tmp_path / "s.csv"), "--keep", "--ledger", str(ledger)]) == 0
    assert "19 times of 20" in capsys.readouterr().out
    [(offset_a,)] = query(ledger, "SELECT offset_a FROM clamp")
    assert 0.02 < offset_a < 0.1


def test_load_finds_a_clamp_that_shifted_by_itself_and_asks_once(tmp_path, monkeypatch):
    days = [f"2024-0{month}-05" for month in range(1, 6)]
    rows = [
        f"S{unit},{day},{40_000 + 3_000 * at},{5 * (1.08 if at == 4 else 1) + 0.01 * (unit + at)},blue,idle"
        for unit in range(6)
        for at, day in enumerate(days)
    ]
    folder = write_folder(
        tmp_path / "f", clamps="clamp,factor,due_on\nblue,100mV/A,2024-04-30",
        vehicles="\n".join(["unit", *(f"S{unit}" for unit in range(6))]),
        pumps="\n".join(["unit,serial,fitted_on", *(f"S{unit},P{unit},2023-01-01" for unit in range(6))]),
        visits="\n".join(["unit,visited_on,odometer,mean_a,clamp,state", *rows]),
    )  # fmt: skip
    ledger = tmp_path / "shift.duckdb"
    report = load_folder(ledger, folder, author=ANYBODY)
    assert [n for n in report.notices if "their readings are held" in n] == [
        "Clamp blue on 2024-05-05: 6 pumps +8.4 %; their readings are held, and one question is open."
    ]
    assert query(ledger, "SELECT count(*) FROM visit WHERE NOT in_trend") == [(6,)]
    assert not [n for n in load_folder(ledger, folder, author=ANYBODY).notices if "held" in n]
    monkeypatch.setenv("PUMPLEDGER", str(ledger))
    shown = parts.clamps_named(loaders.ask("visits_of_pump", pump_id=1))
    assert shown == ["blue", "blue", "blue", "blue", "blue, check overdue"]
