"""The morning's report: what changed since the last one, and nothing where nothing did."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pandas as pd
import pytest

from analytics.scheduling import bookings
from dashboard.cli import main
from dashboard.parts import morning
from ingest.ledger.connection import open_ledger
from ingest.ledger.questions import raise_question
from ingest.ledger.rows import insert_row
from ingest.wording.questions import implied_pump
from tests.authors import ANYBODY
from tests.ledger_fixture import build_ledger

NONE = pd.DataFrame()


@pytest.fixture
def ledger(tmp_path):
    return build_ledger(tmp_path / "fleet.duckdb", fitted=True)


def now() -> datetime:
    return datetime.now(UTC).replace(tzinfo=None)


def test_it_is_silent_where_nothing_changed(ledger):
    later = now() + timedelta(hours=1)
    made = morning.morning(ledger, later, later + timedelta(hours=5), NONE)
    assert made.is_silent
    assert (morning.text(made), morning.html(made)) == ("", "")


def test_it_tells_a_new_failure_once(ledger, capsys):
    first = ["--ledger", str(ledger), "report", "--day"]
    assert main(first) == 0  # everything was recorded just now
    assert "104 (North) on 2024-11-20, the pump: towed" in capsys.readouterr().out
    assert main(first) == 0
    assert capsys.readouterr().out == ""
    with open_ledger(ledger, read_only=False) as con:
        row = {"unit": "105", "position": "main", "happened_on": date.today(), "pump_confirmed": "unknown"}
        insert_row(con, "breakdown", row)
    assert main(first) == 0
    out = capsys.readouterr().out
    assert "Failed on the road: 1" in out
    assert "105 (South)" in out
    assert "cause not known yet" in out


def test_a_visit_for_a_fault_and_a_pump_that_stands_are_told_as_they_come_in(ledger):
    since = now()
    with open_ledger(ledger, read_only=False) as con:
        pumps = dict(con.execute("SELECT unit, pump_id FROM pump WHERE removed_on IS NULL").fetchall())
        row = {"position": "main", "visited_on": date.today(), "odometer_km": None}
        for number, (unit, reason) in enumerate((("101", "road-call"), ("102", "pm"), ("103", "pm"))):
            told = {"visit_id": 900 + number, "unit": unit, "pump_id": pumps[unit], "reason": reason}
            insert_row(con, "visit", row | told)
    stands = {"pump_id": pumps["102"], "status": "failed", "not_working": False, "finding_text": "It stands."}
    made = morning.morning(ledger, since, now() + timedelta(minutes=1), NONE, pumps=pd.DataFrame([stands]))
    first, second = sorted(made.news["Came in with a fault"])
    assert first == f"101 (North) on {date.today()}, road call"
    assert second == f"102 (North) on {date.today()}, planned stop: It stands."
    later = now() + timedelta(hours=1)
    assert morning.morning(ledger, later, later, NONE, pumps=pd.DataFrame([stands])).is_silent


def test_questions_are_told_in_words_and_counted_by_depot(ledger):
    with open_ledger(ledger, read_only=False) as con:
        for unit in ("101", "105"):
            raise_question(con, "visit", unit, implied_pump(unit, "main", "2026-01-05", None), unit=unit)
    until = now() + timedelta(minutes=1)
    made = morning.morning(ledger, until - timedelta(days=1), until, NONE, "South")
    assert [implied_pump("105", "main", "2026-01-05", None).text] == made.news["Questions"]
    assert "1 question." in made.still


def test_a_failure_of_before_that_comes_on_record_late_stands_apart(ledger):
    row = {"unit": "105", "position": "main", "pump_confirmed": "yes"}
    since = now()
    with open_ledger(ledger, read_only=False) as con:
        for days in (0, 30):
            insert_row(con, "breakdown", row | {"happened_on": since.date() - timedelta(days=days)})
        at = {"recorded_at": now()}  # of records loaded together, what is of the past is no news
        for days in (0, 40, 41, 42):
            insert_row(con, "breakdown", row | at | {"happened_on": since.date() - timedelta(days=days)})
        pump = dict(con.execute("SELECT unit, pump_id FROM pump WHERE removed_on IS NULL").fetchall())
        for number, unit in enumerate(("101", "102", "103")):
            seen = {"visit_id": 900 + number, "unit": unit, "position": "main", "pump_id": pump[unit]}
            on = {"visited_on": since.date() - timedelta(days=50), "reason": "complaint"}
            insert_row(con, "visit", seen | at | on)
    stands = {"pump_id": pump["102"], "status": "failed", "not_working": False, "finding_text": "It stands."}
    until = now() + timedelta(minutes=1)
    made = morning.morning(ledger, since, until, NONE, pumps=pd.DataFrame([stands]))
    assert len(made.news["Failed on the road"]) == 2
    assert len(made.news["Failed before that, on record only now"]) == 1
    assert [row.endswith("It stands.") for row in made.news["Came in with a fault"]] == [True]
    told = f"3 breakdowns and 2 visits for a fault of the past came with the records loaded on {now():%F}."
    assert made.loaded == (told,)
    assert told in morning.text(made)


def test_jobs_due_today_and_newly_late_are_told_others_counted(ledger):
    today = date.today()
    with open_ledger(ledger) as con:
        pumps = dict(con.execute("SELECT unit, pump_id FROM pump WHERE removed_on IS NULL").fetchall())
    for unit, days in (("101", 0), ("102", -1), ("103", -9), ("105", 3)):
        day = today + timedelta(days=days)
        bookings.pin(ledger, pumps[unit], day, author=ANYBODY, reason="asked", today=day)
    until = datetime.combine(today, datetime.max.time())
    made = morning.morning(ledger, until - timedelta(days=1), until, NONE)
    assert [row[:3] for row in made.news["Due today"]] == ["101"]
    assert [row[:3] for row in made.news["Late since the last report"]] == ["102"]
    assert "2 late jobs" in made.still
    text, html = morning.text(made), morning.html(made)
    assert "Due today: 1" in text
    assert "101" in html
    assert "<script" not in html


def test_parts_are_late_from_the_day_after_their_last_day_to_order():
    parts = pd.DataFrame(
        {"depot": ["North"] * 3, "pump_type": ["A", "B", "C"], "to_order": [2, 1, 0],
         "order_by": [date(2026, 3, 2), date(2026, 3, 3), date(2026, 3, 2)]}
    )  # fmt: skip
    told = morning.late_parts(parts, date(2026, 3, 2), date(2026, 3, 3), None)
    assert told == ["2 × A for North should have been ordered by 2026-03-02"]
    assert morning.late_parts(parts, date(2026, 3, 2), date(2026, 3, 3), "South") == []


def test_long_lists_are_cut_and_counted(ledger):
    many = [f"row {i}" for i in range(40)]
    made = morning.Morning(now(), now(), "", {"Questions": many}, "")
    lines = morning.text(made).splitlines()
    assert len(lines) < 25
    assert "  and 28 more" in lines
