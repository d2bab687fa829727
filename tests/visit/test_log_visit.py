"""Logging a visit: stored once, whole or not at all; what is in doubt is asked, and a reason settles it."""

from dataclasses import replace
from datetime import date

import duckdb
import numpy as np
import pytest

from ingest.author import Author
from ingest.capture import Capture
from ingest.errors import AnswerNeeded, EntryRefused, LedgerError
from ingest.ledger.connection import open_ledger
from ingest.ledger.settings import set_setting, settings_at
from ingest.ledger.upkeep import check_ledger
from ingest.ledger.visit_rows import meter_reading
from ingest.visit import logging_visit
from ingest.visit.choices import choices_of, corrected
from ingest.visit.corrections import correct_visit, withdraw_visit
from ingest.visit.entry import VisitEntry
from ingest.visit.logging_visit import log_visit
from ingest.waveforms import load_waveform, waveform_folder
from tests.authors import ANYBODY

RNG = np.random.default_rng(5)
ENTRY = VisitEntry(
    "214",
    visited_on=date(2026, 3, 2),
    odometer_km=10_000.0,
    odometer_entered=10_000.0,
    odometer_unit="km",
    supply_v=13.6,
    technician="T",
)
NEW = {"unit-new": "first visit"}
READING = meter_reading(5.2)


def capture(source="bay.csv"):
    return Capture(np.round(5 + RNG.normal(0, 0.1, 300), 3), 20_000.0, source=source)


@pytest.fixture
def ledger(tmp_path):
    return tmp_path / "fleet.duckdb"


def ask(ledger, sql):
    with open_ledger(ledger) as con:
        return con.execute(sql).fetchall()


def codes(needed):
    return [q.code for q in needed.value.questions]


@pytest.fixture
def ledger_with_a_unit(ledger):
    with open_ledger(ledger, read_only=False) as con:
        con.execute("INSERT INTO vehicle (unit, recorded_at) VALUES ('9001', now()::TIMESTAMP)")
    return ledger


def test_the_first_unit_of_an_empty_ledger_needs_no_word(ledger):
    assert log_visit(ledger, ENTRY, capture(), READING, author=ANYBODY).stored


def test_a_new_unit_is_a_question_and_nothing_is_stored_until_it_is_answered(ledger_with_a_unit):
    ledger = ledger_with_a_unit
    with pytest.raises(AnswerNeeded, match="Unit 214 is not in the ledger") as needed:
        log_visit(ledger, ENTRY, capture(), READING, author=ANYBODY)
    assert codes(needed) == ["unit-new"]
    assert ask(ledger, "SELECT (SELECT count(*) FROM vehicle), (SELECT count(*) FROM visit)") == [(1, 0)]
    assert not waveform_folder(ledger).exists()


def test_repeating_or_a_blank_reason_does_not_override_and_a_reason_does(ledger_with_a_unit):
    ledger = ledger_with_a_unit
    for answers in ({}, {}, {"unit-new": "  "}, {"other": "yes"}):
        with pytest.raises(AnswerNeeded):
            log_visit(ledger, ENTRY, capture(), READING, answers, author=ANYBODY)
    logged = log_visit(ledger, ENTRY, capture(), READING, NEW, author=ANYBODY)
    assert logged.stored
    assert ask(ledger, "SELECT code, status, answer, answered_by FROM question") == [
        ("unit-new", "confirmed", "first visit", "T")
    ]
    assert ask(ledger, "SELECT pump_type, fitted_on FROM pump") == [("unknown", None)]


def test_everything_entered_is_kept(ledger):
    taken = capture()
    entry = replace(
        ENTRY, fuel_temp_c=25.0, fuel_pressure_kpa=400.0, clamp="C1", done=("filter", "filter", "wiring")
    )
    logged = log_visit(ledger, entry, taken, READING, NEW, author=ANYBODY)
    assert ask(
        ledger, "SELECT unit, visited_on, odometer_km, odometer_entered, odometer_unit FROM visit"
    ) == [("214", date(2026, 3, 2), 10_000.0, 10_000.0, "km")]
    assert ask(ledger, "SELECT supply_v, fuel_temp_c, fuel_pressure_kpa, clamp, technician FROM visit") == [
        (13.6, 25.0, 400.0, "C1", "T")
    ]
    assert ask(ledger, "SELECT reason, position, capture_hash FROM visit") == [("pm", "main", taken.identity)]
    assert ask(ledger, "SELECT origin, mean_a, capture_hash, visit_id FROM reading") == [
        ("capture", 5.2, taken.identity, logged.visit_id)
    ]
    assert ask(ledger, "SELECT work, done_on, odometer_km, visit_id FROM service ORDER BY service_id") == [
        ("filter", date(2026, 3, 2), 10_000.0, logged.visit_id),
        ("wiring", date(2026, 3, 2), 10_000.0, logged.visit_id),
    ]
    assert load_waveform(ledger, taken.identity).identity == taken.identity
    assert ask(ledger, "SELECT mean_a, pump_type FROM visit_detail") == [(5.2, "unknown")]


def test_the_same_samples_under_another_name_change_nothing_and_say_so(ledger):
    taken = capture("a.csv")
    first = log_visit(ledger, ENTRY, taken, READING, NEW, author=ANYBODY)
    renamed = replace(taken, source="b.csv")
    again = log_visit(
        ledger, replace(ENTRY, odometer_km=99_999.0, done=("filter",)), renamed, READING, author=ANYBODY
    )
    assert not again.stored
    assert again.visit_id == first.visit_id
    assert "already in the ledger as visit 1 of unit 214 on 2026-03-02; nothing was changed" in again.text
    counts = (
        "SELECT (SELECT count(*) FROM visit), (SELECT count(*) FROM reading), (SELECT count(*) FROM service)"
    )
    assert ask(ledger, counts) == [(1, 1, 0)]


def test_what_was_read_beside_a_stored_capture_is_added_to_its_visit_and_overwrites_nothing(ledger):
    taken, bare = capture("a.csv"), replace(ENTRY, supply_v=None)
    log_visit(ledger, bare, taken, READING, NEW, author=ANYBODY)
    with pytest.raises(AnswerNeeded, match="30 V is far from"):
        log_visit(ledger, replace(bare, supply_v=30.0), taken, READING, author=ANYBODY)
    beside = replace(bare, supply_v=11.0, supply_v_at="pump", drop_ground_v=2.4)
    again = log_visit(ledger, beside, taken, READING, author=ANYBODY)
    assert not again.stored
    assert again.text.endswith("what it lacked is added to it: supply_v, supply_v_at, drop_ground_v.")
    later = log_visit(ledger, replace(beside, supply_v=13.0), taken, READING, author=ANYBODY)
    assert "nothing was changed. Other values than typed stand there for supply_v: where" in later.text
    told = log_visit(ledger, replace(beside, supply="pwm", duty_pct=60.0), taken, READING, author=ANYBODY)
    assert told.text.endswith("what it lacked is added to it: duty_pct.")  # as its next test asked
    stands = "SELECT supply_v, supply_v_at, drop_ground_v, odometer_km FROM visit"
    assert ask(ledger, stands) == [(11.0, "pump", 2.4, 10_000.0)]
    logged = "SELECT old_value, new_value, reason FROM change_log WHERE field = 'drop_ground_v'"
    assert ask(ledger, logged) == [(None, "2.4", "added by log")]


def test_the_same_name_with_other_samples_is_another_visit(ledger):
    log_visit(ledger, ENTRY, capture("a.csv"), READING, NEW, author=ANYBODY)
    assert log_visit(
        ledger, replace(ENTRY, odometer_km=10_050.0), capture("a.csv"), READING, author=ANYBODY
    ).stored
    assert ask(ledger, "SELECT count(*) FROM visit") == [(2,)]


def test_the_same_samples_for_another_unit_are_pointed_out(ledger):
    taken = capture()
    log_visit(ledger, ENTRY, taken, READING, NEW, author=ANYBODY)
    other = log_visit(ledger, replace(ENTRY, unit="215"), taken, READING, NEW, author=ANYBODY)
    assert not other.stored
    assert "If unit 215 is the right one, withdraw that visit first" in other.text


def test_a_withdrawn_visit_can_be_logged_anew_on_the_right_unit(ledger):
    taken = capture()
    first = log_visit(ledger, ENTRY, taken, READING, NEW, author=ANYBODY)
    withdraw_visit(ledger, first.visit_id, author=Author("AB", "manager"), reason="wrong unit")
    assert log_visit(ledger, replace(ENTRY, unit="215"), taken, READING, NEW, author=ANYBODY).stored
    assert ask(ledger, "SELECT unit FROM visit_detail") == [("215",)]
    assert ask(ledger, "SELECT field, old_value, new_value, changed_by, reason FROM change_log") == [
        ("withdrawn", "False", "True", "AB", "wrong unit")
    ]


def test_a_meter_reading_alone_is_a_visit_of_origin_meter(ledger):
    entry = replace(ENTRY, meter_a=5.4)
    assert log_visit(ledger, entry, answers=NEW, author=ANYBODY).stored
    assert ask(ledger, "SELECT origin, mean_a, rpm, method_version FROM reading") == [("meter", 5.4, None, 0)]
    assert not log_visit(ledger, entry, author=ANYBODY).stored
    with pytest.raises(AnswerNeeded) as needed:
        log_visit(ledger, replace(entry, meter_a=5.9), author=ANYBODY)
    assert codes(needed) == ["second-meter-reading"]


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"unit": "  "}, "unit: blank"),
        ({"reason": "because"}, "reason: 'because' is not one of pm, follow-up"),
        ({"state": "parked"}, "state: 'parked' is not one of prime, idle, loaded"),
        ({"done": ("polish",)}, "done: 'polish' is not one of filter"),
        ({"meter_a": 5400.0}, "must lie between 0 and 100"),
    ],
)
def test_an_entry_that_cannot_be_is_refused_in_one_sentence(ledger, wrong, sentence):
    with pytest.raises(EntryRefused, match=sentence):
        log_visit(ledger, replace(ENTRY, **wrong), capture(), READING, author=ANYBODY)


def test_an_entry_without_any_measurement_is_refused(ledger):
    with pytest.raises(EntryRefused, match="Neither a capture nor a meter"):
        log_visit(ledger, ENTRY, author=ANYBODY)
    assert not ledger.exists()


def test_a_failure_half_way_leaves_no_trace_but_a_harmless_waveform(ledger, monkeypatch):
    log_visit(ledger, ENTRY, capture(), READING, NEW, author=ANYBODY)
    before = ask(ledger, "SELECT count(*) FROM visit")

    def fail(*args, **kwargs):
        raise duckdb.IOException("IO Error: Could not write file: No space left on device")

    monkeypatch.setattr(logging_visit, "insert_reading", fail)
    with pytest.raises(LedgerError, match="the disk is full; nothing of this entry was stored"):
        log_visit(ledger, replace(ENTRY, odometer_km=10_100.0), capture(), READING, author=ANYBODY)
    assert ask(ledger, "SELECT count(*) FROM visit") == before
    assert ask(ledger, "SELECT count(*) FROM capture") == before


class TestWhichPump:
    """On the day of a change the pump taken off, unless a serial or the reason says otherwise."""

    @pytest.fixture
    def changed(self, ledger):
        with open_ledger(ledger, read_only=False) as con:
            con.execute("INSERT INTO vehicle (unit, recorded_at) VALUES ('214', now())")
            con.execute(
                "INSERT INTO pump (pump_id, unit, pump_type, serial, fitted_on, removed_on, recorded_at)"
                " VALUES (1, '214', 'A', 'S1', '2025-01-01', '2026-03-02', now()),"
                " (2, '214', 'A', 'S2', '2026-03-02', NULL, now())"
            )
            con.execute("UPDATE last_id SET id = 2 WHERE table_name = 'pump'")
        return ledger

    @pytest.mark.parametrize(
        ("entry", "pump"),
        [
            ({}, 1),
            ({"serial": "S2"}, 2),
            ({"serial": "S1"}, 1),
            ({"reason": "after-repair"}, 2),
            ({"visited_on": date(2026, 3, 3)}, 2),
            ({"visited_on": date(2026, 3, 1)}, 1),
        ],
    )
    def test_pump(self, changed, entry, pump):
        assert log_visit(changed, replace(ENTRY, **entry), capture(), READING, author=ANYBODY).pump_id == pump

    def test_only_a_serial_that_was_told_goes_before_the_reason(self, changed):
        """The pump taken off has no serial on record and the new one has."""
        with open_ledger(changed, read_only=False) as con:
            con.execute("UPDATE pump SET serial = NULL WHERE pump_id = 1")
        for reason, pump in (("after-repair", 2), ("pm", 1)):
            entry = replace(ENTRY, reason=reason)
            assert log_visit(changed, entry, capture(), READING, author=ANYBODY).pump_id == pump

    def test_an_unknown_serial_or_an_empty_place_is_asked_about(self, changed):
        day = date(2024, 1, 1)
        for entry, code in (({"serial": "S9"}, "pump-changed"), ({"visited_on": day}, "pump-new")):
            with pytest.raises(AnswerNeeded) as needed:
                log_visit(changed, replace(ENTRY, **entry), capture(), READING, author=ANYBODY)
            assert code in codes(needed)

    def test_another_serial_closes_the_life_of_the_pump_before_once_it_was_asked(self, changed):
        entry = replace(ENTRY, serial="S9", visited_on=date(2026, 4, 1), reason="after-repair")
        answers = {"pump-changed": "yes"}
        logged = log_visit(changed, entry, capture(), READING, answers, author=ANYBODY)
        lives = (
            "SELECT pump_id, pump_type, serial, fitted_on, removed_on, removal FROM pump WHERE pump_id > 1"
        )
        assert sorted(ask(changed, lives)) == [
            (2, "A", "S2", date(2026, 3, 2), date(2026, 4, 1), "other"),
            (logged.pump_id, "A", "S9", date(2026, 4, 1), None, None),
        ]
        assert not [f for f in check_ledger(changed).findings if "overlap" in f.text]

    @pytest.mark.parametrize("reason", ["pm", "after-repair"])
    def test_a_serial_nobody_knew_is_asked_about_and_kept_with_the_pump_said(self, changed, reason):
        with open_ledger(changed, read_only=False) as con:
            con.execute("UPDATE pump SET serial = NULL WHERE pump_id = 2")
        later = replace(ENTRY, visited_on=date(2026, 4, 1))
        log_visit(changed, later, capture(), READING, author=ANYBODY)
        told = replace(later, visited_on=date(2026, 4, 2), reason=reason, serial="S2")
        with pytest.raises(AnswerNeeded, match="was the pump changed") as needed:
            log_visit(changed, told, capture(), READING, author=ANYBODY)
        [question] = needed.value.questions
        same = corrected(told, question, choices_of(question)[0])
        assert log_visit(changed, same, capture(), READING, author=ANYBODY).pump_id == 2
        assert ask(changed, "SELECT serial FROM pump WHERE pump_id = 2") == [("S2",)]

    def test_positions(self, changed):
        with pytest.raises(AnswerNeeded) as needed:
            log_visit(changed, replace(ENTRY, position="aux"), capture(), READING, author=ANYBODY)
        assert "position-new" in codes(needed)
        with open_ledger(changed, read_only=False) as con:
            con.execute("UPDATE pump SET position = 'left' WHERE pump_id = 1")
            con.execute("UPDATE pump SET position = 'right' WHERE pump_id = 2")
        with pytest.raises(EntryRefused, match="pumps in left, right; say which with --position"):
            log_visit(changed, ENTRY, capture(), READING, author=ANYBODY)
        assert (
            log_visit(changed, replace(ENTRY, position="left"), capture(), READING, author=ANYBODY).pump_id
            == 1
        )


def test_a_correction_is_logged_cell_by_cell(ledger):
    logged = log_visit(ledger, ENTRY, capture(), READING, NEW, author=ANYBODY)
    assert correct_visit(ledger, logged.visit_id, {"odometer_km": 10_010.0, "state": "idle", "clamp": None},
                         author=Author("AB", "manager"), reason="misread") == 2  # fmt: skip
    assert ask(ledger, "SELECT field, old_value, new_value, reason FROM change_log ORDER BY change_id") == [
        ("odometer_km", "10000", "10010", "misread"),
        ("state", None, "idle", "misread"),
    ]
    for values, reason in (({"unit": "9"}, "x"), ({"pump_id": 3}, "x"), ({"state": "idle"}, " ")):
        with pytest.raises(EntryRefused):
            correct_visit(ledger, logged.visit_id, values, author=Author("AB", "manager"), reason=reason)


def test_settings_are_dated_and_logged(ledger):
    set_setting(
        ledger,
        "ripple_limit_pct",
        12.0,
        author=Author("AB", "manager"),
        reason="study",
        valid_from=date(2026, 1, 1),
    )
    set_setting(
        ledger,
        "ripple_limit_pct",
        11,
        author=Author("AB", "manager"),
        reason="again",
        valid_from=date(2026, 6, 1),
    )
    with open_ledger(ledger) as con:
        values = [
            settings_at(con, on)["ripple_limit_pct"] for on in (date(2025, 1, 1), date(2026, 3, 1), None)
        ]
    assert values == [15.0, 12.0, 11]
    assert ask(ledger, "SELECT row_key, old_value, new_value, changed_by, reason FROM change_log") == [
        ("ripple_limit_pct", None, "12.0", "AB", "study"),
        ("ripple_limit_pct", "12.0", "11", "AB", "again"),
    ]
    for key, value in (("no_such", 1), ("ripple_limit_pct", "much"), ("distance_unit", 3)):
        with pytest.raises(EntryRefused):
            set_setting(ledger, key, value, author=Author("AB", "manager"), reason="x")


def test_no_more_questions_are_asked_than_wanted_and_the_rest_stay_open(ledger_with_a_unit):
    ledger = ledger_with_a_unit
    log_visit(ledger, ENTRY, capture(), READING, NEW, author=ANYBODY)
    slips = replace(
        ENTRY, visited_on=date(2026, 6, 2), odometer_km=100.0, odometer_entered=100.0, supply_v=55.0
    )
    for most, asked in ((None, ["odometer-below-last", "supply-implausible"]), (1, ["odometer-below-last"])):
        with pytest.raises(AnswerNeeded) as needed:
            log_visit(ledger, slips, capture(), READING, most_questions=most, author=ANYBODY)
        assert codes(needed) == asked
    logged = log_visit(ledger, slips, capture(), READING, most_questions=0, author=ANYBODY)
    assert logged.stored
    assert {q.code for q in logged.left_open} == {"odometer-below-last", "supply-implausible"}
    assert "2 more are in the list of open questions" in logged.text
    rows = ask(ledger, "SELECT code FROM question WHERE status = 'open' ORDER BY code")
    assert rows == [("odometer-below-last",), ("supply-implausible",)]
    assert ask(ledger, f"SELECT in_trend FROM visit WHERE visit_id = {logged.visit_id}") == [(False,)]


def test_a_kept_filter_is_work_done_like_any_other(ledger):
    log_visit(ledger, replace(ENTRY, done=("filter_kept",)), capture(), READING, author=ANYBODY)
    assert ask(ledger, "SELECT work FROM service") == [("filter_kept",)]
