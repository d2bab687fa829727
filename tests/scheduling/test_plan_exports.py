"""The plan as calendar, work list, CSV and JSON."""

from __future__ import annotations

import json
from dataclasses import replace
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
from ingest.author import Author
from ingest.errors import EntryRefused
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


def events_of(data: bytes) -> dict[str, icalendar.Event]:
    return {str(e["UID"]): e for e in icalendar.Calendar.from_ical(data).walk("VEVENT")}


def test_one_event_per_job_within_working_hours(made):
    events = events_of(calendar(made, MADE_AT))
    assert set(events) == {"job-P1@pumpledger", "job-P2@pumpledger", "job-P3@pumpledger"}
    first = events["job-P1@pumpledger"]
    assert first.decoded("DTSTART").date() == made.lines.set_index("pump_id")["planned_on"][1]
    for event in events.values():
        assert 7 <= event.decoded("DTSTART").hour <= event.decoded("DTEND").hour <= 16
    assert "main pump" in str(first["SUMMARY"])
    assert "brakes; <b>front</b>" in str(first["DESCRIPTION"])
    assert FIRST in str(first["DESCRIPTION"])
    assert "- Change the pump" in str(first["DESCRIPTION"])


def test_an_old_file_and_a_new_one_leave_exactly_todays_jobs(made):
    """RFC 5545 section 3.8.7.4: of events with one UID the highest SEQUENCE holds."""
    old = replace(made, revision=3)
    moved = made.lines.copy()
    moved.loc[moved["pump_id"] == 1, "planned_on"] = date(2026, 3, 20)
    gone = made.lines[made.lines["pump_id"] == 3][["pump_id", "unit", "position", "planned_on"]]
    new = replace(made, lines=moved[moved["pump_id"] != 3], cancelled=gone, revision=5)
    held: dict[str, icalendar.Event] = {}
    for data in (calendar(old, MADE_AT), calendar(new, MADE_AT), calendar(old, MADE_AT)):
        for uid, event in events_of(data).items():
            if uid not in held or event["SEQUENCE"] >= held[uid]["SEQUENCE"]:
                held[uid] = event
    left = {uid: e.decoded("DTSTART").date() for uid, e in held.items() if str(e["STATUS"]) != "CANCELLED"}
    assert left == {f"job-P{r.pump_id}@pumpledger": r.planned_on for r in new.lines.itertuples()}


def test_never_an_empty_calendar():
    none = make_plan(make_inputs([{"finding_action": "none", "hazard": 1e-7}]), 120, 0.95)
    with pytest.raises(EntryRefused, match="nothing to put into a calendar"):
        calendar(none)


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
        b"SEQUENCE:",
        b"DTSTART:2026",
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
    assert "No work is planned." in page


def test_command_line(tmp_path, capsys):
    ledger = build_ledger(tmp_path / "fleet.duckdb", fitted=True)
    bookings.pin(
        ledger,
        1,
        date(2026, 1, 20),
        author=Author("AB", "manager"),
        reason="=van is in",
        today=date(2026, 1, 2),
    )
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
    assert main(["plan", "--ledger", str(ledger), "--reject", "", "--why", "sold"]) == 1
    assert "No pump is in service on unit ''" in capsys.readouterr().err
    assert main(["rank", "--ledger", str(ledger), "--top", "-1"]) == 1
    assert "--top: -1 pumps is none" in capsys.readouterr().err
    assert main(["backtest", "--ledger", str(ledger), "--cutoffs", "99999999999999999999"]) == 1
    assert "at most 1000 past days" in capsys.readouterr().err
    assert main(["plan", "--ledger", str(ledger), "--days", "0"]) == 1
    assert "horizon is 0 days" in capsys.readouterr().err
    assert main(["plan", "--ledger", str(tmp_path / "none.duckdb")]) == 1
    assert "There is no ledger" in capsys.readouterr().err


def test_decisions_on_the_command_line(tmp_path, capsys):
    ledger = str(build_ledger(tmp_path / "fleet.duckdb", fitted=True))
    plan = ["plan", "--ledger", ledger, "--by", "AB", "--as-of", "2026-01-02"]
    assert main([*plan, "--pin", "101", "--on", "2026-01-20", "--why", "van is in"]) == 0
    assert "The main pump of unit 101 is pinned on 2026-01-20." in capsys.readouterr().out
    assert main([*plan, "--book", "101", "--on", "2026-01-24"]) == 1
    assert "closed on Saturday" in capsys.readouterr().err
    assert main([*plan, "--move", "101", "--on", "2026-01-24", "--why", "the shop opens"]) == 0
    assert "Mind: depot North is closed" in capsys.readouterr().out
    # A plan of the same day knows what was booked for it, one of the day before doesn't.
    of_day = {}
    for day in ("2026-01-02", "2026-01-01"):
        assert main(["plan", "--ledger", ledger, "--json", "--as-of", day]) == 0
        lines = json.loads(capsys.readouterr().out)["lines"]
        of_day[day] = [(x["planned_on"], x["status"]) for x in lines if x["unit"] == "101"]
    # Without a day it is booked on the one planned; where none is planned, that is said.
    planned_on = next(x["planned_on"] for x in lines if x["unit"] == "101")
    assert main([*plan[:-1], "2026-01-01", "--book", "101"]) == 0
    assert f"unit 101 is booked on {planned_on}." in capsys.readouterr().out
    assert main([*plan, "--book", "102"]) == 1
    assert "no work is planned for its pump" in capsys.readouterr().err
    assert of_day["2026-01-02"] == [("2026-01-24", "pinned")]
    assert "pinned" not in [status for _, status in of_day["2026-01-01"]]
    assert main([*plan, "--done", "101"]) == 1
    assert "what was found" in capsys.readouterr().err
    assert main([*plan, "--done", "101", "--why", "a hose leaked"]) == 1
    assert "--changed yes or --changed no" in capsys.readouterr().err
    not_changed = [*plan, "--done", "101", "--why", "a hose leaked", "--changed", "no"]
    assert main([*not_changed, "--found", "worn"]) == 1
    assert "--found: that is kept of a changed pump alone" in capsys.readouterr().err
    assert main(not_changed) == 0
    for unheard, said in (
        (["--found", "worn"], "--found: that belongs to a decision about one unit"),
        ([], "--by: nothing is written here"),
        (["--book", "101", "--odometer", "9 mi"], "--odometer: that is kept of work done"),
        (["--reject", "101", "--on", "2026-01-20"], "--on: --reject has no day"),
        (["--book", "101", "--json", "--depot", "North"], "--json, --depot: --book only decides"),
    ):
        assert main([*plan, *unheard]) == 1
        assert said in capsys.readouterr().err
    assert main([*plan, "--book", "999", "--on", "2026-01-20"]) == 1
    assert "No pump is in service on unit '999'" in capsys.readouterr().err
    assert main([*plan, "--pin", "105", "--on", "2026-01-05", "--why", "van is in"]) == 0
    assert "no stock is on record, so its part is taken to be ordered (earliest" in capsys.readouterr().out
    assert main([*plan, "--reject", "101", "--why", "unit is for sale"]) == 0
    capsys.readouterr()
    now = ["plan", "--ledger", ledger, "--json"]
    assert main([*now, "--depot", "West"]) == 1
    assert "there is no 'West' in this ledger; it has North, South" in capsys.readouterr().err
    assert main([*now, "--depot", "South"]) == 0
    whole = json.loads(capsys.readouterr().out)
    assert whole["rejected"] == []
    assert main(now) == 0
    whole = json.loads(capsys.readouterr().out)
    assert [row["unit"] for row in whole["rejected"]] == ["101"]
    assert whole["rejected"][0]["decided_by"] == "AB"
