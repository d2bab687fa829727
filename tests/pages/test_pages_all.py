"""Every page: drawn on a small ledger and on none, with stable addresses and the right people's menus."""

from datetime import date

import pandas as pd
import pytest

from analytics.wear_model.model import METHOD_VERSION
from dashboard.parts import risk_list
from dashboard.shell import access
from dashboard.shell.navigation import PAGES, ROLES, pages_for
from ingest.ledger.connection import open_ledger
from ingest.ledger.numbers import new_id
from tests.ledger_fixture import build_ledger
from tests.pages.page_runs import open_page, seen, words


@pytest.fixture(scope="module")
def shared(tmp_path_factory):
    return build_ledger(tmp_path_factory.mktemp("pages") / "fleet.duckdb", fitted=True)


@pytest.fixture
def ledger(shared, monkeypatch):
    monkeypatch.setenv("PUMPLEDGER", str(shared))
    return shared


@pytest.mark.parametrize("view", PAGES)
def test_a_page_draws_without_error(ledger, view):
    page = open_page(view)
    assert page.title[0].value == PAGES[view].title
    assert not page.error


@pytest.mark.parametrize("view", PAGES)
def test_an_empty_ledger_says_what_to_do_first(tmp_path, monkeypatch, view):
    monkeypatch.setenv("PUMPLEDGER", str(tmp_path / "none.duckdb"))
    page = open_page(view)
    assert not page.error
    if view != "log_visit":
        assert "The ledger is empty." in words(page)
    assert not (tmp_path / "none.duckdb").exists()


@pytest.mark.parametrize("view", ["pump_history", "costs"])  # the history asks for the ranking first
def test_a_stored_fit_that_cant_be_read_stops_no_page(tmp_path, monkeypatch, view):
    path = build_ledger(tmp_path / "fleet.duckdb")
    monkeypatch.setenv("PUMPLEDGER", str(path))
    with open_ledger(path, read_only=False) as connection:
        connection.execute(
            "INSERT INTO fit (fit_id, fitted_at, data_until, method_version, parameters)"
            ' VALUES (?, now(), DATE \'2026-01-01\', ?, \'{"model": {"types": ["FP-10"]}}\')',
            [new_id(connection, "fit"), METHOD_VERSION],
        )
    page = open_page(view, **({"pump": "1"} if view == "pump_history" else {}))
    assert not page.error
    with open_ledger(path) as connection:
        assert connection.execute("SELECT count(*) FROM fit").fetchall() == [(2,)]


def test_addresses_never_change():
    assert [p.address for p in PAGES.values()] == [
        "", "log-visit", "tray", "pumps-by-risk", "pump", "plan-board", "costs", "forecast-record",
        "fleet-data", "open-questions",
    ]  # fmt: skip


def test_the_list_can_be_narrowed_and_a_pump_found(ledger):
    everything = open_page("pumps_by_risk").dataframe[0].value
    assert len(everything) == 8
    north = open_page("pumps_by_risk", by_depot="North").dataframe[0].value
    assert set(north["Depot"]) == {"North"}
    for text in ("104", "s-104"):  # by unit, by serial number
        one = open_page("pumps_by_risk", find=text).dataframe[0].value
        assert one["Unit"].tolist() == ["104"]
    assert "No pump matches" in words(open_page("pumps_by_risk", find="no such unit"))


def test_an_address_names_a_pump_by_its_unit_and_nonsense_is_said_to_be_nonsense(ledger):
    assert "unit 104" in words(open_page("pump_history", pump="104"))
    assert "unit 104" in words(open_page("pump_history", unit="104"))
    for unknown in ("no-such", "987654"):
        said = open_page("pump_history", pump=unknown)
        assert [f"asks for {unknown}, and no pump" in words(said), len(said.warning)] == [True, 1]


@pytest.mark.parametrize(
    ("view", "query", "asked"),
    [
        ("pumps_by_risk", {"by_depot": "Atlantis", "order": "risk", "foo": "1"}, "depot “Atlantis”, “foo”"),
        ("pumps_by_risk", {"action": "*polish*", "find": "no such unit"}, "action “*polish*”"),
        ("plan_board", {"pump": "x", "board_from": "2026-13"}, "weeks from “2026-13”, pump “x”"),
        ("plan_board", {"pump": "105", "month": "2026-13"}, "“month”"),
        ("fleet_data", {"part": "Nowhere", "units_page": "99"}, "part “Nowhere”, page “99”"),
        ("open_questions", {"code": "x" * 50, "asked_page": "0"}, f"kind “{'x' * 39}…”, page “0”"),
        ("log_visit", {"saved": "now", "draft": "gone"}, "saved “now”, draft “gone”"),
        (
            "pump_history",
            {"pump": "104", "history_part": "Soul", "readings": "x"},
            "part “Soul”, readings “x”",
        ),
        ("today", {f"n{n}": "1" for n in range(5)}, "“n0”, “n1”, “n2”, 2 more"),
        ("fleet_data", {"part": "Work done", "work_kind": "Breakdown", "month": "1"}, "“month”"),
    ],
)
def test_what_an_address_asks_for_in_vain_is_said_once(ledger, view, query, asked):
    page = open_page(view, **query)
    said = [warning.value for warning in page.warning if "The address asks" in warning.value]
    wanted = f"▲ The address asks for {asked}; this page has no such thing and is shown without it."
    assert [seen(sentence) for sentence in said] == [wanted]


def test_the_first_pump_opens_beside_the_list_and_columns_are_chosen(ledger):
    page = open_page("pumps_by_risk", columns="Risk")
    assert page.dataframe[0].value.columns.tolist() == ["Unit", "Risk, %"]
    said = words(page)
    assert "What to do.**" in said
    assert "Why.**" in said
    assert "several_by" not in [box.key for box in page.text_input]
    page.session_state["decide_one"] = True
    page.run()
    next(button for button in page.button if button.label == "Decide").click()
    assert "initials" in page.run().error[0].value


def test_the_history_opens_at_its_address(ledger):
    page = open_page("pump_history", pump="1")
    assert "unit 101" in words(page)
    page.session_state["slow_drift"] = True  # drawn once its fold is opened
    assert "per 10,000 mi" in words(page.run())
    visits = open_page("pump_history", pump="1", history_part="Visits")
    assert "hums at idle" in visits.dataframe[0].value["Note"].tolist()


def test_an_unknown_pump_is_no_error(ledger):
    assert "Choose a unit" in words(open_page("pump_history", pump="9999"))


def test_settling_a_question_is_logged_and_needs_a_reason(tmp_path, monkeypatch):
    path = build_ledger(tmp_path / "fleet.duckdb")
    with open_ledger(path, read_only=False) as connection:
        connection.execute("UPDATE visit SET in_trend = FALSE WHERE visit_id = 3")
    monkeypatch.setenv("PUMPLEDGER", str(path))
    page = open_page("open_questions")
    right = next(b for b in page.button if b.label == "It is right as it stands")
    right.click().run()
    assert "Give a reason" in words(page)
    page.text_input(key="answered_by").set_value("PL")
    page.text_input(key="why_1").set_value("cluster checked")
    next(b for b in page.button if b.label == "It is right as it stands").click()
    page.run()
    assert "Nothing is in doubt" in words(page)
    with open_ledger(path) as connection:
        assert connection.execute("SELECT status, answered_by FROM question").fetchall() == [
            ("confirmed", "PL")
        ]
        assert connection.execute("SELECT in_trend FROM visit WHERE visit_id = 3").fetchall() == [(True,)]
        assert connection.execute("SELECT count(*) FROM change_log").fetchall() == [(1,)]


def test_a_technician_sees_no_costs():
    assert "costs" not in {p.view for p in pages_for("technician")}
    assert {p.view for p in pages_for("manager")} == set(PAGES)
    assert {p.view for p in pages_for(None)} == set(PAGES)


@pytest.fixture
def as_role(monkeypatch):
    def take(role):
        monkeypatch.setattr(access, "role", lambda: role)
        monkeypatch.setattr(access, "current_person", lambda: access.Person("Somebody", role))

    return take


def test_what_each_role_may_do():
    kinds = ("work", "notes", "correct", "facts", "plan", "load", "money", "settings", "prices")
    may = {role: {what for what in kinds if access.role_may(role, what)} for role in (*ROLES, None)}
    assert may["technician"] == {"work", "notes"}
    assert may["planner"] == set(kinds) - {"settings", "prices"}
    assert may["manager"] == may[None] == set(kinds)


def test_a_technician_is_shown_neither_money_nor_other_peoples_forms(ledger, as_role):
    as_role("technician")
    assert "In the office" not in words(open_page("today"))
    work = open_page("fleet_data", part="Work done")
    assert not [name for name in work.dataframe[0].value if name.startswith("Cost")]
    assert "Prices" not in [tab.label for tab in work.tabs]
    assert "Withdraw the visit" not in [b.label for b in open_page("open_questions").button]
    assert "Correct or withdraw a visit" not in [
        e.label for e in open_page("pump_history", pump="1", history_part="Visits").expander
    ]
    as_role("planner")
    assert "In the office" in words(open_page("today"))
    assert "Withdraw the visit" in [b.label for b in open_page("open_questions").button]


def test_sign_in_is_off_until_asked_for(ledger, monkeypatch):
    assert not access.sign_in_wanted()
    monkeypatch.setenv("PUMPLEDGER_SIGN_IN", "1")
    page = open_page("today")
    assert "Your sign-in has ended." in words(page)
    assert [b.label for b in page.button] == []


def test_headline_counts_what_matters():
    ranking = pd.DataFrame(
        {"action": ["book replacement", "none", "check circuit"], "risk_to_next_stop": [0.5, 0.1, 0.2],
         "decision_status": [None, None, None], "due_by": [date(2026, 1, 1), None, None],
         "not_working": [False, False, False]}
    )  # fmt: skip
    line = risk_list.headline(ranking)
    assert line.startswith("Of 3 pumps: 1 to book for a change; 1 to have the circuit checked.")
    assert "about 0.8" in line
    booked = ranking.assign(decision_status=["booked", None, None])
    assert risk_list.headline(booked).startswith("Of 3 pumps: 1 to have the circuit checked; 1 booked.")
    idle = ranking.assign(not_working=[False, True, False])
    assert risk_list.headline(idle).startswith("Of 3 pumps: 1 not working by the last reading; 1 to book")
