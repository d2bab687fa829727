"""The plan as calendar, work list, CSV and JSON."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime

import icalendar
import pandas as pd
import pytest

from analytics.judging.safety import CAUTIONS, FIRST
from analytics.scheduling import bookings
from analytics.scheduling.ical import calendar
from analytics.scheduling.planning import make_plan
from analytics.scheduling.work_list import work_list_html
from dashboard.cli import main
from tests.ledger_fixture import build_ledger
from tests.scheduling.plan_fixture import make_inputs

MADE_AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def made():
    due = pd.DataFrame(
        {"unit": ["U1"], "due_on": [date(2026, 3, 16)], "work": ["brakes; <b>front</b>"], "hours": [1.0]}
    )
    return make_plan(
        make_inputs([{"unit": "U1"}, {"unit": "U1", "position": "aux"}, {}], due_work=due), 120, 0.95
    )


def test_one_event_per_unit_and_stop(made):
    events = icalendar.Calendar.from_ical(calendar(made, MADE_AT)).walk("VEVENT")
    assert len(events) == 2
    first = events[0]
    assert first.decoded("DTSTART") == date(2026, 3, 16)
    assert first.decoded("DTEND") == date(2026, 3, 17)
    assert str(first["UID"]) == "U1-2026-03-16-pump@pumpledger"
    assert "main pump" in str(first["SUMMARY"])
    assert "aux pump" in str(first["SUMMARY"])
    assert "brakes; <b>front</b>" in str(first["DESCRIPTION"])
    assert FIRST in str(first["DESCRIPTION"])


def test_calendar_keeps_to_rfc_5545(made):
    data = calendar(made, MADE_AT)
    assert data.endswith(b"END:VCALENDAR\r\n")
    for line in data.split(b"\r\n"):
        assert len(line) <= 75  # octets, section 3.1
        assert b"\n" not in line
    # Sections 3.6 and 3.6.1: what a calendar and an event must have.
    for name in (
        b"VERSION:2.0",
        b"PRODID:",
        b"UID:",
        b"DTSTAMP:20260302T080000Z",
        b"DTSTART;VALUE=DATE:20260316",
    ):
        assert name in data
    assert b"brakes\\; <b>front" in data.replace(b"\r\n ", b"")  # section 3.3.11


def test_work_list_is_whole_and_harmless(made):
    page = work_list_html(made)
    assert FIRST in page
    for _, text, _ in CAUTIONS:
        assert text in page.replace("&#x27;", "'")
    for text in ("U1", "U3", "aux", "main", "on hand", "Reason.", "brakes; &lt;b&gt;front&lt;/b&gt;"):
        assert text in page
    assert "<b>front" not in page
    assert "http" not in page


def test_an_empty_list_says_so():
    page = work_list_html(make_plan(make_inputs([{"finding_action": "none", "hazard": 1e-7}]), 120, 0.95))
    assert "No replacement is planned." in page


def test_command_line(tmp_path, capsys):
    ledger = build_ledger(tmp_path / "fleet.duckdb")
    bookings.pin(ledger, 1, date(2026, 1, 20), by="AB", reason="=van is in")
    ics, page = tmp_path / "p.ics", tmp_path / "p.html"
    assert main(["plan", "--ledger", str(ledger), "--json", "--ics", str(ics), "--print", str(page)]) == 0
    whole = json.loads(capsys.readouterr().out)
    assert whole["lines"][0]["unit"] == "101"
    assert whole["lines"][0]["planned_on"] == "2026-01-20"
    assert icalendar.Calendar.from_ical(ics.read_bytes()).walk("VEVENT")
    assert "101" in page.read_text(encoding="utf-8")

    assert main(["plan", "--ledger", str(ledger), "--csv"]) == 0
    rows = capsys.readouterr().out.splitlines()
    assert rows[0].startswith("planned_on,unit,position")
    assert rows[1].startswith("2026-01-20,101,main")

    assert main(["plan", "--ledger", str(ledger), "--keep"]) == 0
    text = capsys.readouterr().out
    assert "2026-01-20  101" in text
    assert FIRST in text
    assert main(["plan", "--ledger", str(ledger), "--days", "0"]) == 1
    assert "horizon is 0 days" in capsys.readouterr().err
    assert main(["plan", "--ledger", str(tmp_path / "none.duckdb")]) == 1
    assert "There is no ledger" in capsys.readouterr().err
