"""Logging a visit: unit, reading at once, questions before saving, the saved visit."""

import pytest

from analytics.judging.verdict import judge_visit
from dashboard.data import loaders, queries
from dashboard.views.log_visit.sheet import visit_sheet
from ingest.ledger.connection import open_ledger
from ingest.ledger.rows import insert_row
from tests.ledger_fixture import build_ledger, small_capture, write_capture_csv
from tests.pages.page_runs import open_page, small_file, words


@pytest.fixture
def ledger(tmp_path, monkeypatch):
    path = build_ledger(tmp_path / "fleet.duckdb", fitted=True)
    monkeypatch.setenv("PUMPLEDGER", str(path))
    return path


@pytest.fixture(scope="module")
def upload(tmp_path_factory):
    return small_file(write_capture_csv(tmp_path_factory.mktemp("up") / "stop.csv", small_capture()))


@pytest.fixture
def nothing_decided(monkeypatch):
    """The decision while the vehicle stands there takes longer than all else of saving; it has tests of its
    own."""
    monkeypatch.setattr(loaders, "bay_decision", lambda visit_id: None)


def open_typed(unit: str, **typed):
    """Return the page as it stands once something was typed."""
    page = open_page("log_visit", unit=unit)
    for name, value in typed.items():
        page.session_state[name] = value
    return page.run()


def press(page, label):
    next(b for b in page.button if b.label == label).click()
    return page.run()


def test_cautions_stand_first_and_are_folded_at_the_next_visit(ledger):
    page = open_page("log_visit")
    assert page.expander[0].label == "Before you connect anything"
    assert page.expander[0].proto.expanded
    assert "come first" in words(page)
    press(page, "Read it, go on")
    # Not under the reader's finger: on a phone the first box would move out of sight.
    assert page.expander[0].proto.expanded
    assert "Read it, go on" not in [b.label for b in page.button]
    page.query_params["saved"] = "3"
    assert not page.run().expander[0].proto.expanded
    press(page, "Log the next visit")
    assert page.text_input(key="odometer").value == ""
    assert not page.expander[0].proto.expanded


def test_an_unknown_unit_brings_up_near_matches(ledger):
    page = open_page("log_visit", unit="110")
    assert "Did you mean 101" in words(page)
    assert "Use 101" in [b.label for b in page.button]


def test_a_part_of_a_number_brings_up_units_where_they_are_too_many_for_a_list(ledger, monkeypatch):
    assert "Use 101" not in [b.label for b in open_page("log_visit", unit="10").button]
    monkeypatch.setattr(loaders, "MOST_UNITS_IN_LIST", 3)
    page = open_page("log_visit", unit="10")
    assert "Did you mean 101 or 102 or 103 or 104?" in words(page)
    press(page, "Use 102")
    assert page.text_input(key="unit").value == "102"


def test_twin_numbers_are_warned_about(ledger):
    assert "there is also unit 7" in words(open_page("log_visit", unit="007"))


def test_connection_notes_show_for_the_vehicle(ledger):
    page = open_page("log_visit", unit="101")
    assert "grey wire behind the left seat" in words(page)


def test_the_reading_shows_before_anything_is_saved(ledger, upload):
    page = open_page("log_visit", unit="101")
    page.file_uploader[0].set_value(upload).run()
    text = words(page)
    assert "Next test." in text
    table = page.table[0].value
    assert "6,000" in table.loc["Speed", "Now"]
    assert table.loc["Average current", "Specified"] == "4 to 7 A"
    with open_ledger(ledger) as connection:
        assert connection.execute("SELECT count(*) FROM visit").fetchall() == [(40,)]


def test_a_refused_file_says_why_and_keeps_what_was_typed(ledger):
    page = open_typed("101", odometer="90000 mi")
    page.file_uploader[0].set_value(("notes.csv", b"hello\nworld\n", "text/csv")).run()
    assert page.error
    assert "Traceback" not in words(page)
    assert page.text_input(key="odometer").value == "90000 mi"


def test_what_a_file_does_not_say_is_one_tap_where_the_refusal_stands(ledger):
    with open_ledger(ledger, read_only=False) as connection:
        insert_row(connection, "clamp", {"clamp": "blue", "factor": "100mV/A"})
    capture = small_capture()
    rows = "".join(f"{k / 20_000:.5f},{100 * a:.2f},13.6\n" for k, a in enumerate(capture.current_a))
    page = open_typed("101", odometer="90000 mi")
    page.file_uploader[0].set_value(("two.csv", f"s,Jaw (mV),Line (V)\n{rows}".encode(), "text/csv")).run()
    assert "Choose one of" in page.error[0].value
    assert "Line" in [b.label for b in page.button]
    press(page, "Jaw")
    assert "say what the clamp gives, for example 100mV/A" in page.error[0].value
    assert {"100mV/A", "clamp blue"} <= {b.label for b in page.button}  # a factor, or a clamp on record
    press(page, "clamp blue")
    assert not page.error
    assert "Next test." in words(page)


def test_a_question_is_answered_before_the_visit_is_stored(ledger, nothing_decided, upload):
    page = open_typed("101", odometer="1000 mi", state="idle", supply_v="13.5", drop_supply_v="12.9",
                      fuel_temp="78 °C")  # fmt: skip
    page.file_uploader[0].set_value(upload).run()
    page.text_input(key="technician").set_value("AB").run()
    press(page, "Save the visit")
    assert "Not stored yet" in words(page)
    page.text_input(key="answer_odometer-below-last").set_value("yes")
    press(page, "The meter was across the pump: leave the drop out")  # and a bare yes overrides nothing
    assert "A bare yes is no reason" in words(page)
    page.text_input(key="answer_odometer-below-last").set_value("new instrument cluster")
    press(page, "It is 26 °C")
    assert "Stored as visit 41" in words(page)
    with open_ledger(ledger) as connection:
        rows = connection.execute(
            "SELECT technician, capture_hash IS NOT NULL, drop_supply_v, round(fuel_temp_c, 1), supply_v"
            " FROM visit WHERE visit_id = 41"
        )
        assert rows.fetchall() == [("AB", True, None, 25.6, 13.5)]


def test_rarely_entered_boxes_come_when_opened_and_stay_while_they_hold_something(ledger):
    page = open_page("log_visit", unit="101")
    assert "note" not in [box.key for box in page.text_area]
    page.session_state["fold_drop_supply_v"] = True
    page.run()
    page.text_area(key="note").set_value("oil on the connector").run()
    page.session_state["fold_drop_supply_v"] = False
    page.run()
    assert page.text_area(key="note").value == "oil on the connector"
    assert open_typed("101", delivery="1.2 L/min").text_input(key="delivery").value


def test_why_the_vehicle_came_is_kept_when_its_heading_shuts_the_fold(ledger):
    page = open_typed("102", fold_reason=True)
    page.button_group(key="reason").set_value("after-repair")
    page.run()
    page.session_state["fold_reason"] = False  # as its heading changes
    for odometer in ("140000", "140001", "140002"):
        page.text_input(key="odometer").set_value(odometer)
        page.run()
        assert any(fold.label.startswith("After repair, today") for fold in page.expander)
    assert page.session_state["reason"] == "after-repair"


def test_meter_only_with_initials_missing_then_given(ledger, nothing_decided):
    page = open_typed("102", odometer="88000 mi", source="meter", meter_a="5.4")
    press(page, "Save the visit")
    assert "initials" in words(page)
    page.text_input(key="technician").set_value("AB").run()
    press(page, "Save the visit")
    assert "Stored as visit 41" in words(page)
    press(page, "Log the next visit")
    assert page.text_input(key="technician").value == "AB"  # who works on need not say so again


def test_nothing_measured_is_not_stored(ledger):
    page = open_typed("102", odometer="88000 mi")
    page.text_input(key="technician").set_value("AB").run()
    press(page, "Save the visit")
    assert "nothing to store yet" in words(page)


def test_a_stored_visit_has_an_address_and_a_sheet_of_its_own(ledger):
    page = open_page("log_visit", saved="5")
    assert "Visit 5 is stored." in words(page)
    assert "The pump was changed at this stop" in [e.label for e in page.expander]
    assert "There is no visit 99" in words(open_page("log_visit", saved="99"))


def test_the_next_unit_opened_after_a_stored_visit_is_typed_in_and_not_taken_for_it(ledger):
    page = open_page("log_visit")
    page.session_state["saved_visit"] = {"visit_id": 5, "text": "Stored as visit 5.", "stored": True}
    assert "Stored as visit 5." in words(page.run())  # though the address doesn't name it yet
    page.query_params.pop("saved")
    page.query_params["unit"] = "101"
    page.run()
    page.text_input(key="odometer").set_value("50000 mi").run()
    assert page.text_input(key="odometer").value == "50000 mi"
    page.query_params["saved"] = "4"
    assert "Visit 4 is stored." in words(page.run())


def test_a_stored_visit_says_what_pays_while_the_vehicle_stands_there(ledger):
    from analytics.learning.fitting import fit
    from analytics.scheduling.in_the_bay import decide_after

    build_ledger(ledger)  # nothing learned yet
    with open_ledger(ledger) as connection:
        newest, first = connection.execute(
            "SELECT max(visit_id), min(visit_id) FROM visit WHERE pump_id = 1"
        ).fetchall()[0]
    assert "In the bay." not in words(open_page("log_visit", saved=str(newest)))
    fit(ledger)
    told = decide_after(ledger, newest)
    assert told is not None
    said = words(open_page("log_visit", saved=str(newest)))
    assert f"In the bay.** {told.text}" in said
    assert all(step in said for step in told.steps)
    assert "In the bay." not in words(open_page("log_visit", saved=str(first)))
    with open_ledger(ledger) as connection:
        [(of_a_pump_gone,)] = connection.execute(
            "SELECT max(visit_id) FROM visit JOIN pump USING (pump_id) WHERE removed_on IS NOT NULL"
        ).fetchall()
    page = open_page("log_visit", saved=str(of_a_pump_gone))
    assert not page.error
    assert "In the bay." not in words(page)


def test_what_was_found_in_the_last_pump_is_asked_while_nobody_knows(ledger):
    with open_ledger(ledger, read_only=False) as connection:
        connection.execute("UPDATE pump SET found = NULL, removed_on = current_date - 90 WHERE pump_id = 4")
    page = open_page("log_visit", unit="104")
    assert "what was found in it?" in words(page)
    press(page, "Keep the finding")
    assert "Give what was found" in words(page)
    page.button_group(key="found_before").set_value("worn")
    page.text_input(key="found_before_by").set_value("TK")
    press(page, "Keep the finding")
    assert "what was found in it?" not in words(page)
    with open_ledger(ledger) as connection:
        assert connection.execute("SELECT found FROM pump WHERE pump_id = 4").fetchall() == [("worn",)]
        assert connection.execute("SELECT new_value, changed_by FROM change_log").fetchall() == [
            ("worn", "TK")
        ]


def test_the_sheet_of_a_stored_visit_holds_its_figures(ledger):
    visits = queries.ask(ledger, "visits_of_pump", pump_id=1)
    with open_ledger(ledger) as connection:
        verdict = judge_visit(connection, 5)
    html = visit_sheet(
        visits.iloc[4], visits.iloc[:4], verdict, queries.settings(ledger), capture=small_capture()
    )
    for part in (
        "5,060",
        "4 to 7 A",
        "5.20 A",
        verdict.next_test,
        "Keep sparks",
        "one turn shaded",
        "<polygon",
    ):
        assert part in html


def test_a_reading_is_judged_against_the_pumps_own_history_before_it_is_saved(
    ledger, nothing_decided, upload
):
    page = open_typed("101", state="idle", source="meter", meter_a="3.9")
    before = words(page)
    assert "its own baseline" in before
    page.text_input(key="technician").set_value("T").run()
    press(page, "Save the visit")
    assert "Stored as visit 41" in words(page)
    with open_ledger(ledger) as connection:
        [(visit_id,)] = connection.execute("SELECT max(visit_id) FROM visit").fetchall()
        verdict = judge_visit(connection, visit_id)
    assert verdict.text in before
    assert verdict.next_test in before


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ({"check_outcome": "no_other_cause"}, ("no_other_cause", None, [])),
        (
            {"check_outcome": "mended", "check_cause": "strainer"},
            ("strainer", None, ["strainer"]),
        ),
        (
            {"check_outcome": "unfinished", "check_why": "tank full"},
            (None, "not_reached", []),
        ),
    ],
)
def test_a_check_is_written_down_in_three_taps(ledger, nothing_decided, typed, kept):
    page = open_typed("101", reason="follow-up", **typed)
    page.text_input(key="technician").set_value("T").run()
    press(page, "Save the visit")
    with open_ledger(ledger) as connection:
        row = connection.execute(
            "SELECT check_result, strainer, visit_id, note FROM visit ORDER BY visit_id DESC LIMIT 1"
        ).fetchone()
        work = connection.execute("SELECT work FROM service WHERE visit_id = ?", [row[2]]).fetchall()
    assert row[2] == 41
    assert (row[0], row[1], [w for (w,) in work]) == kept
    assert (row[3] == "Check not finished: tank full") == ("check_why" in typed)
