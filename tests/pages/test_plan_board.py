"""The board: jobs in their week and depot, free hours and conflicts named, moves priced, done and undone."""

from datetime import date, timedelta
from types import SimpleNamespace

import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

from analytics.scheduling import bookings
from analytics.scheduling.planning import plan
from dashboard.data import loaders
from dashboard.parts import deciding
from dashboard.views.plan_board import board, parts, room
from dashboard.views.plan_board.week_grid import JS
from dashboard.words.plain import bullets
from ingest.errors import EntryRefused
from ingest.fleet_folder.tables import BAYS, STOCK
from ingest.ledger.connection import open_ledger
from tests.authors import ANYBODY
from tests.ledger_fixture import build_ledger
from tests.pages.page_runs import open_page, words

MONDAY = date(2026, 3, 2)


def jobs(**changes) -> pd.DataFrame:
    usual = {
        "pump_id": [7, 8], "unit": ["101", "<b>x</b>"], "position": ["main", "left"],
        "depot": ["North", "South"],
        "job": ["change", "check"], "planned_on": [MONDAY + timedelta(days=2), MONDAY + timedelta(days=9)],
        "hours": [2.5, 0.7], "part": ["on hand", "none"], "status": ["booked", "proposed"],
    }  # fmt: skip
    return pd.DataFrame(usual | changes)


def a_plan() -> SimpleNamespace:
    bays = pd.DataFrame(
        {
            "depot": ["North", "North", "South"],
            "week": [MONDAY, MONDAY + timedelta(days=7), MONDAY + timedelta(days=7)],
            "free_hours": [2.0, 10.0, float("nan")],
            "used_hours": [2.5, 0.0, 0.7],
        }
    )
    elsewhere = pd.DataFrame(
        {
            "pump_id": [7, 7], "week": [MONDAY, MONDAY + timedelta(days=14)],
            "planned_on": [MONDAY + timedelta(days=2), MONDAY + timedelta(days=16)],
            "own_stop": [False, True], "costs_more": [0.0, 180.2],
        }
    )  # fmt: skip
    return SimpleNamespace(today=MONDAY, horizon_days=120, bays=bays, other_days=elsewhere, currency="USD")


def test_many_notes_of_a_kind_leave_the_first_screen_to_the_board():
    def page():
        from types import SimpleNamespace

        from dashboard.views.plan_board import parts

        note = lambda code, text: SimpleNamespace(code=code, text=text)  # noqa: E731
        closed = [note("booked-closed-day", f"Unit {k} is booked for a closed day.") for k in range(20)]
        few = [note("no-stock", "No stock is on record."), note("as-of", "As of a day.")]
        parts.show_notes(SimpleNamespace(lines=[], notes=[*few, *closed]))

    app = AppTest.from_function(page).run()
    assert not app.exception
    firsts = bullets(["No stock is on record.", "Unit 0 is booked for a closed day."])
    assert [at.value for at in app.caption] == [firsts]
    assert app.expander[0].label == "19 more remarks like these"
    app.session_state["plan_remarks"] = True
    rest = app.run().markdown[0].value
    assert all(f"Unit {k} is" in rest for k in range(1, 20))


def test_each_job_stands_in_its_week_and_depot_with_room_and_conflict():
    weeks = [MONDAY, MONDAY + timedelta(days=7)]
    drawn = board.board(a_plan(), jobs(), weeks)
    north, south = drawn["rows"]
    assert [c["room"] for c in north["cells"]] == ["▲ over by 0.5 h", "10.0 of 10.0 h free"]
    assert [c["over"] for c in north["cells"]] == [True, False]
    assert [c["room"] for c in south["cells"]] == ["hours not given", "hours not given"]
    assert [job["id"] for job in north["cells"][0]["jobs"]] == [7]
    told = south["cells"][1]["jobs"][0]["text"]
    assert told.startswith("□ <b>x</b> left: check")
    assert "part" not in told
    assert "2.5 h, part on hand" in north["cells"][0]["jobs"][0]["text"]


def test_of_a_week_with_very_many_jobs_some_stand_there_and_the_rest_is_counted():
    many = pd.concat([jobs().head(1)] * 20, ignore_index=True).assign(pump_id=range(20))
    elsewhere = [jobs().head(1).assign(depot=f"Depot {k}") for k in range(7)]
    for rows, drawn in ((many, 20), (pd.concat([many, *elsewhere]), board.LEAST_IN_A_CELL)):
        cells = [row["cells"][0] for row in board.board(a_plan(), rows, [MONDAY])["rows"]]
        cell = next(cell for cell in cells if len(cell["jobs"]) > 1)
        assert [job["id"] for job in cell["jobs"]] == list(range(drawn))
    assert cell["more"] == "and 15 more: narrow by depot, or see the list below"


def test_text_from_records_is_never_markup():
    assert "innerHTML" not in JS
    assert "insertAdjacentHTML" not in JS
    assert "textContent" in JS


def test_a_move_is_priced_in_words():
    day, sentence = board.price(a_plan(), jobs(), 7, (MONDAY + timedelta(days=14)).isoformat())
    assert day == MONDAY + timedelta(days=16)
    assert "2 weeks later costs 180 USD" in sentence
    assert "a stop of its own" in sentence
    assert board.price(a_plan(), jobs(), 7, (MONDAY + timedelta(days=70)).isoformat()) is None


@pytest.fixture
def ledger(tmp_path, monkeypatch):
    path = build_ledger(tmp_path / "fleet.duckdb", fitted=True)
    monkeypatch.setenv("PUMPLEDGER", str(path))
    return path


def planned_on(pump_id: int) -> date:
    """The day of a job in the plan that the page has just made and shows."""
    lines = loaders.planned().value.lines
    return lines.set_index("pump_id").loc[pump_id, "planned_on"]


def test_a_job_is_moved_and_the_move_undone(ledger):
    start = date.today() + timedelta(days=14)
    start -= timedelta(days=start.weekday())
    bookings.book(ledger, 1, start, author=ANYBODY, reason="asked")
    page = open_page("plan_board")
    assert "Board" in [h.value for h in page.header]
    there = start + timedelta(days=14)
    page.session_state[board.MOVE] = (1, there.isoformat())
    page.run()
    assert "2 weeks later" in words(page)
    page.text_input(key="board_why").input("bay is shut")
    page.text_input(key="board_by").input("AB")
    next(b for b in page.button if b.label == "Move it").click()
    page.run()
    assert there <= planned_on(1) < there + timedelta(days=7)
    page.button(key="board_undo_button").click()
    page.run()
    assert planned_on(1) == start
    # What the page asks hangs on the decision: the old pump's state and the odometer once it was changed.
    assert not [box for box in page.text_input if box.label == "Odometer"]
    page.selectbox[-1].select(1)
    page.button_group(key="decision_kind").set_value("done")
    page.run()
    page.button_group(key="decision_changed").set_value("Yes")
    page.run()
    page.button_group(key="decision_found").set_value("seized")
    page.text_input(key="decision_odometer").input("139,000 km")
    next(box for box in page.text_input if box.label == "Reason").input("seized at the bench")
    assert page.text_input(key="decision_by").value == "AB"  # of the move before, in the same session
    next(b for b in page.button if b.label == "Decide").click()
    page.run()
    assert "Its change is recorded" in words(page)
    with open_ledger(ledger) as connection:
        rows = connection.execute("SELECT found, removed_odometer_km FROM pump WHERE pump_id = 1").fetchall()
    assert rows == [("seized", 139_000.0)]


def test_a_calendar_from_the_page_cancels_in_the_next_what_is_planned_no_longer(ledger):
    day = date.today() + timedelta(days=14)
    bookings.book(ledger, 1, day, author=ANYBODY, reason="asked")
    first = plan(ledger)
    north = parts.as_shown(first, {"depot": ["North"], "pump_type": [], "class": []})
    assert set(north.lines["depot"]) <= {"North"}
    assert b"STATUS:CANCELLED" not in parts.calendar_file(north, first, ANYBODY)
    bookings.reject(ledger, 1, author=ANYBODY, reason="unit is for sale")
    later = plan(ledger)
    assert b"STATUS:CANCELLED" in parts.calendar_file(later, later, None)


def test_a_lost_bay_and_a_delivery_are_said_on_the_board(ledger):
    week = {"depot": "North", "week": "2027-03-10", "hours": "0"}
    assert "0 bay hours" in room.keep(ledger, BAYS, week, ANYBODY)
    room.keep(ledger, STOCK, {"depot": "North", "pump_type": "FP-10", "count": "3"}, ANYBODY)
    with pytest.raises(EntryRefused, match="hours: '-8' is impossible"):
        room.keep(ledger, BAYS, week | {"hours": "-8"}, ANYBODY)
    with open_ledger(ledger) as connection:
        hours = connection.execute("SELECT hours FROM bay_hours WHERE week_of = DATE '2027-03-08'").fetchall()
        stock = connection.execute("SELECT on_hand FROM stock").fetchall()
    assert (hours, stock) == ([(0.0,)], [(3,)])


def test_the_day_offered_is_one_on_which_the_depot_works(monkeypatch):
    weekly = {"workdays": {"": [1, 2, 3, 4, 5], "North": [3]}, "closed_days": {}}
    monkeypatch.setattr(deciding.loaders, "settings", lambda: weekly)
    assert deciding.day_offered(None, "North").weekday() == 2
    assert deciding.day_offered(date.min, None).weekday() < 5
    booked = date.today() + timedelta(days=1)  # open or not: somebody planned it
    assert deciding.day_offered(booked, "North") == booked
