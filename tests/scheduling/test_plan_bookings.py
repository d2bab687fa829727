"""Decisions of a planner: kept, with a reason, until a person changes them."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest

from analytics.money.decision import CAUSE_FOUND, NO_FUEL
from analytics.scheduling import bookings, in_the_bay
from analytics.scheduling.planning import plan
from analytics.scheduling.steps import CHANGE, CIRCUIT, TANK, ZERO
from dashboard.cli import main
from ingest.author import Author
from ingest.capture import Capture
from ingest.errors import EntryRefused
from ingest.ledger.connection import open_ledger
from ingest.ledger.visit_rows import meter_reading
from ingest.visit.entry import VisitEntry
from ingest.visit.logging_visit import log_visit
from ingest.visit.pump_lives import NewPump, Removal, replace_pump
from tests.authors import ANYBODY
from tests.ledger_fixture import build_ledger

TODAY, DAY, LATER = date(2026, 1, 2), date(2026, 1, 20), date(2026, 2, 3)


@pytest.fixture
def ledger(tmp_path):
    return build_ledger(tmp_path / "fleet.duckdb", fitted=True)


def of_first(rows):
    """The rows about pump 1: the ledger is old, so what else is proposed depends on today."""
    return rows[rows["pump_id"] == 1]


def test_pin_move_reject_withdraw(ledger):
    assert bookings.pin(
        ledger, 1, DAY, author=Author("AB", "manager"), reason="van is in anyway", today=TODAY
    ) == ("The main pump of unit 101 is pinned on 2026-01-20.")
    first = plan(ledger)
    assert of_first(first.lines)[["planned_on", "status"]].to_numpy().tolist() == [[DAY, "pinned"]]
    assert bookings.record_list(ledger, first, author=Author("AB", "manager")) == 1

    bookings.move(ledger, 1, LATER, author=Author("AB", "manager"), reason="bay is shut", today=TODAY)
    moved = plan(ledger)
    assert of_first(moved.lines)["planned_on"].tolist() == [LATER]
    assert of_first(moved.changes)[["what", "before", "after", "why"]].to_numpy().tolist() == [
        ["moved", "2026-01-20", "2026-02-03", "a person moved it"]
    ]

    told = bookings.reject(ledger, 1, author=Author("AB", "manager"), reason="unit is for sale")
    assert told == "The main pump of unit 101 is off the list."
    turned_down = plan(ledger)
    assert of_first(turned_down.lines).empty
    assert turned_down.rejected["why"].tolist() == ["unit is for sale"]
    assert of_first(turned_down.changes)["why"].tolist() == ["a person rejected it"]

    assert bookings.withdraw(ledger, 1, author=Author("AB", "manager")).endswith("is planned afresh.")
    assert plan(ledger).rejected.empty


def test_every_decision_is_kept(ledger):
    bookings.book(ledger, 1, DAY, author=Author("AB", "manager"), reason="asked", today=TODAY)
    bookings.done(ledger, 1, author=Author("CD", "manager"), reason="hose leaks", changed=False)
    newest = bookings.newest_decisions(ledger)
    assert newest["status"].tolist() == ["done"]
    assert newest["decided_by"].tolist() == ["CD"]
    from ingest.ledger.connection import open_ledger

    with open_ledger(ledger) as connection:
        assert connection.execute("SELECT count(*) FROM booking").fetchall() == [(2,)]


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda f: bookings.reject(f, 1, author=Author("AB", "manager"), reason="  "), "why it is rejected"),
        (lambda f: bookings.pin(f, 1, DAY, author=Author("AB", "manager"), reason=""), "why this day"),
        (lambda f: bookings.pin(f, 1, DAY, author=Author("AB", "manager"), reason="x" * 5000), "The reason"),
        (lambda f: bookings.reject(f, 1, author=Author("AB", "manager"), reason="\x1b[31mred"), "The reason"),
        (lambda f: bookings.move(f, 1, DAY, author=Author("AB", "manager"), reason="x"), "not booked"),
        (lambda f: bookings.book(f, 999, DAY, author=Author("AB", "manager")), "no pump 999"),
        (lambda f: bookings.book(f, 4, DAY, author=Author("AB", "manager")), "was taken off on 2024-11-20"),
        (
            lambda f: bookings.book(f, 1, DAY, author=Author("AB", "manager"), today=LATER),
            "2026-01-20 is past",
        ),
        (
            lambda f: bookings.book(f, 1, date(2026, 1, 24), author=Author("AB", "manager"), today=TODAY),
            "closed on Saturday 2026-01-24",
        ),
        (lambda f: bookings.done(f, 1, author=Author("AB", "manager"), reason=""), "what was found"),
    ],
)
def test_what_makes_no_sense_is_refused_in_one_sentence(ledger, call, text):
    with pytest.raises(EntryRefused, match=text):
        call(ledger)
    assert bookings.newest_decisions(ledger).empty


def test_a_horizon_of_nothing_is_refused(ledger):
    with pytest.raises(EntryRefused, match="horizon is 0 days"):
        plan(ledger, horizon_days=0)


def test_work_on_a_sound_reading_says_what_asks_for_it():
    row = pd.Series({"p_change": 1.0, "pump_type": "T", "risk_to_next_stop": 0.052, "finding_action": "none"})
    assert "5 % of such pumps fail before" in in_the_bay._text(row, "change", 2.5, [])
    faulty = pd.Series(row.to_dict() | {"finding_action": "repeat capture"})
    told = in_the_bay._text(pd.Series(faulty.to_dict() | {"because": "cost"}), "change", 2.5, [])
    assert "such pumps" not in told
    assert "that need not be waited for" in told
    booked = faulty.to_dict() | {"because": "cost", "finding_action": "book replacement"}
    assert "waited" not in in_the_bay._text(pd.Series(booked), "change", 2.5, [])
    stands = pd.Series(faulty.to_dict() | {"because": NO_FUEL})
    assert "the engine may get no fuel" in in_the_bay._text(stands, "check", 1.0, [])
    assert in_the_bay._text(stands, "change", 2.5, []).startswith("Change it now")
    lossy = pd.Series(faulty.to_dict() | {"because": CAUSE_FOUND})
    assert in_the_bay._text(lossy, "check", 0.35, []).startswith("Mend what was found now")


def test_in_the_bay_the_decision_is_told_with_its_steps(tmp_path):
    from analytics.scheduling.in_the_bay import decide_after, decide_in_the_bay
    from tests.ledger_fixture import LAST_VISIT

    assert decide_in_the_bay(build_ledger(tmp_path / "new.duckdb"), 1, LAST_VISIT) is None  # nothing learned
    ledger = build_ledger(tmp_path / "fleet.duckdb", fitted=True)
    told = decide_in_the_bay(ledger, 1, LAST_VISIT)
    assert told is not None
    assert (told.job == "nothing") == (not told.steps)
    assert told.text
    worse = [{"element": "failure_replacement", "amount": 60_000.0}]
    from analytics.money.cost_book import set_cost

    for entry in worse:
        set_cost(ledger, **entry, author=ANYBODY)
    dear = decide_in_the_bay(ledger, 1, LAST_VISIT)
    assert dear is not None
    assert dear.job in ("check and change", "change")
    assert "now, while it is in the bay" in dear.text
    with open_ledger(ledger) as connection:
        newest, first = connection.execute(
            "SELECT max(visit_id), min(visit_id) FROM visit WHERE pump_id = 1"
        ).fetchall()[0]
    assert decide_after(ledger, newest) == dear
    assert decide_after(ledger, first) is None

    # What a step asks for is not asked again once it is logged, in one go or bit by bit.
    log = ["--ledger", str(ledger), "log", "--unit", "101", "--date", str(LAST_VISIT), "--meter-a", "5.4",
           "--state", "idle", "--supply-v", "13.5", "--reason", "follow-up",
           "--odometer", "135000 km"]  # fmt: skip
    assert (ZERO in dear.steps, CIRCUIT in dear.steps, dear.job) == (True, True, "check and change")
    assert main(log) == 0  # a meter has no zero to check
    read = decide_in_the_bay(ledger, 1, LAST_VISIT)
    assert (ZERO in read.steps, CIRCUIT in read.steps, read.job) == (False, True, "check and change")
    assert main([*log, "--drop-supply-v", "0.05", "--drop-ground-v", "0.03", "--zero-checked"]) == 0
    passed = decide_in_the_bay(ledger, 1, LAST_VISIT)
    assert (passed.job, passed.p_change, passed.steps) == ("change", 1.0, (CHANGE, TANK))
    assert passed.text.startswith("Change it now")


def test_done_records_the_change_or_asks(ledger):
    bookings.book(ledger, 1, DAY, author=ANYBODY, reason="asked", today=TODAY)
    with pytest.raises(EntryRefused, match="whether the main pump of unit 101 was changed"):
        bookings.done(ledger, 1, author=ANYBODY, reason="brushes worn")
    with pytest.raises(EntryRefused, match="Correct it, or leave the odometer out"):
        bookings.done(
            ledger, 1, author=ANYBODY, reason="brushes worn", done_on=DAY, changed=True, odometer_km=100.0
        )
    told = bookings.done(
        ledger, 1, author=ANYBODY, reason="brushes worn", done_on=DAY, changed=True,
        new=NewPump(serial="N-1"), odometer_km=150_000.0,
    )  # fmt: skip
    assert "Its change is recorded" in told
    with open_ledger(ledger) as connection:
        lives = connection.execute(
            "SELECT serial, fitted_on, removed_on, removal, cause FROM pump WHERE unit = '101' "
            "ORDER BY pump_id"
        ).fetchall()
    assert lives[-1] == ("N-1", DAY, None, None, None)
    new = bookings.pump_meant(ledger, "101")  # said twice, it is not the new pump's
    with pytest.raises(EntryRefused, match="the job of the pump before it is done already"):
        bookings.done(ledger, new, author=ANYBODY, reason="brushes worn", done_on=DAY, changed=True)
    assert lives[-2][2:] == (DAY, "on_condition", "brushes worn")
    assert bookings.newest_decisions(ledger).set_index("pump_id").loc[1, "status"] == "done"
    assert 1 not in set(plan(ledger, as_of=LATER).lines["pump_id"])


def test_a_pump_that_stood_is_recorded_as_failed(ledger):
    """By a reading on the road: else a failure would count as one that was avoided."""
    stall = replace(meter_reading(17.0), method_version=1, raw_ripple_pct=0.8, sample_rate_hz=20_000.0)
    entry = VisitEntry("101", visited_on=DAY, reason="road-call", state="prime", supply_v=12.1)
    flat = Capture(np.linspace(16.9, 17.1, 300), 20_000.0)
    log_visit(ledger, entry, flat, stall, author=ANYBODY)
    told = bookings.done(ledger, 1, author=ANYBODY, reason="seized", done_on=DAY, changed=True)
    assert "as of one that had failed" in told
    with open_ledger(ledger) as connection:
        removal = connection.execute("SELECT removal FROM pump WHERE pump_id = 1").fetchall()
    assert removal == [("failed",)]


@pytest.mark.parametrize(
    ("reason", "found", "removal"),
    [
        ("road-call", "worn", "failed"),
        ("road-call", "tested_good", "on_condition"),
        ("follow-up", "worn", "on_condition"),
    ],
)
def test_a_fault_found_after_a_road_call_is_a_failure(ledger, reason, found, removal):
    """Though the reading doesn't prove the pump dead: its connector was never looked at."""
    entry = VisitEntry("101", visited_on=DAY, reason=reason, state="idle", supply_v=13.4, meter_a=5.3)
    log_visit(ledger, entry, None, None, author=ANYBODY)
    bookings.done(ledger, 1, author=ANYBODY, reason="as found", done_on=DAY, changed=True, found=found)
    with open_ledger(ledger) as connection:
        assert connection.execute("SELECT removal FROM pump WHERE pump_id = 1").fetchall() == [(removal,)]


def test_done_by_command_finds_the_booked_pump_though_it_has_come_off(ledger, capsys):
    bookings.book(ledger, 1, DAY, author=ANYBODY, reason="asked", today=TODAY)
    command = ["--ledger", str(ledger), "plan", "--done", "101", "--why", "brushes worn"]
    assert main(command) == 1
    assert "--changed yes or --changed no" in capsys.readouterr().err
    replace_pump(ledger, "101", Removal("on_condition"), on=DAY, author=ANYBODY)
    assert main(command) == 0
    assert bookings.newest_decisions(ledger).set_index("pump_id").loc[1, "status"] == "done"
