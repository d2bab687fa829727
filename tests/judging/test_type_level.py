"""Pumps without a specification are held against others of their type, in the verdict and in the ranking."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from analytics.judging.verdict import judge_entry, judge_visit
from analytics.risk.ranking import read_facts
from ingest.capture import Capture
from ingest.fleet_folder.loading import load_folder
from ingest.ledger.connection import open_ledger
from ingest.ledger.visit_rows import meter_reading
from ingest.visit.entry import VisitEntry
from ingest.visit.logging_visit import log_visit
from tests.authors import ANYBODY
from tests.fleet_folder.fleet_folders import write_folder

UNITS = ("A", "B", "C", "D", "E")


@pytest.fixture(scope="module")
def ledger(tmp_path_factory):
    """Five pumps of a type without specification at about 5 A, one never seen; one of unknown type."""
    folder = tmp_path_factory.mktemp("type")
    draws = zip(UNITS, (4.9, 5.0, 5.1, 5.2, 4.8), strict=True)
    tables = {
        "vehicles": "unit\n" + "\n".join((*UNITS, "F", "G")),
        "pump_types": "pump_type\nT1",
        "pumps": "unit,pump_type,fitted_on,fitted_odometer\n"
        + "\n".join(f"{unit},T1,2025-01-01,1000" for unit in UNITS)
        + "\nF,T1,,\nG,,,",
        "visits": "unit,visited_on,odometer,state,mean_a\n"
        + "\n".join(f"{unit},2025-06-01,9000,idle,{mean_a}" for unit, mean_a in draws),
    }
    path = folder / "fleet.duckdb"
    load_folder(path, write_folder(folder / "f", **tables), today=date(2025, 7, 1), author=ANYBODY)
    return path


def log(ledger, unit, mean_a, state="idle", day=date(2025, 6, 10)):
    entry = VisitEntry(unit, visited_on=day, odometer_km=20_000, state=state, meter_a=mean_a)
    logged = log_visit(ledger, entry, answers={"pump-new": "seen", "position-new": "seen"}, author=ANYBODY)
    with open_ledger(ledger) as connection:
        return judge_visit(connection, logged.visit_id)


def test_a_first_reading_meets_the_pumps_of_its_type(ledger):
    verdict = log(ledger, "F", 3.2)
    assert verdict.rule == "average-unlike-type"
    assert "far from the 4.95 A" in verdict.text
    assert verdict.compared_with == (
        "Compared with 6 pumps of its type (median 4.95 A); no specification known, "
        "no baseline of its own yet."
    )
    assert verdict.action == "check circuit"
    with open_ledger(ledger) as connection:
        facts = read_facts(connection, None)
    unit = facts.history.pumps.set_index("pump_id")["unit"]
    in_the_ranking = facts.found["finding"].rename(unit.to_dict())
    assert in_the_ranking["F"] == "average-unlike-type"
    assert (in_the_ranking[list(UNITS)] == "healthy").all()


def test_a_reading_within_a_quarter_of_the_type_is_nothing_out_of_the_ordinary(ledger):
    assert log(ledger, "A", 5.9, day=date(2025, 6, 11)).rule != "average-unlike-type"


def test_another_engine_state_or_an_unknown_type_is_not_held_against_it(ledger):
    primed = log(ledger, "B", 3.2, state="prime")
    assert primed.rule == "no-specification"
    assert "none of its earlier readings is good and alike in engine state" in primed.compared_with
    unknown = log(ledger, "G", 3.2)
    assert unknown.rule == "no-specification"
    assert "general limits only" in unknown.compared_with


def test_a_pump_fitted_nobody_knows_when_has_no_distance_and_no_new_baseline(ledger):
    verdict = log(ledger, "F", 3.25, day=date(2025, 6, 20))
    assert "no specification known" in verdict.compared_with
    with open_ledger(ledger) as connection:
        rows = connection.execute("SELECT DISTINCT distance_on_pump_km FROM visit_detail WHERE unit = 'F'")
        assert rows.fetchall() == [(None,)]


def test_a_visit_is_judged_before_it_is_stored_as_it_is_afterwards(ledger):
    """By its own history and its type, whether or not its engine state is told."""
    answers = {"pump-new": "seen", "position-new": "seen", "odometer-below-last": "seen"}
    with open_ledger(ledger) as connection:
        [(pump_id,)] = connection.execute("SELECT pump_id FROM pump WHERE unit = 'E'").fetchall()
    levels = (4.8, 4.8, 4.8, 5.9, 5.9)
    for number, (mean_a, state) in enumerate(zip(levels, ("idle",) * 4 + (None,), strict=True)):
        day = date(2025, 7, 1 + number)
        entry = VisitEntry("E", visited_on=day, odometer_km=20_000.0 + 10 * number, state=state)
        reading = replace(meter_reading(mean_a), method_version=1, rpm=6000.0)
        with open_ledger(ledger) as connection:
            before = judge_entry(connection, pump_id, entry, reading)
        capture = Capture(np.full(300, mean_a) + np.linspace(0, number, 300), 20_000.0)
        logged = log_visit(ledger, entry, capture, reading, answers, author=ANYBODY)
        with open_ledger(ledger) as connection:
            after = judge_visit(connection, logged.visit_id)
        assert (before.rule, before.text, before.compared_with) == (
            after.rule, after.text, after.compared_with
        )  # fmt: skip
        if number == 3:
            assert before.rule == "current-changed-speed-same"
            assert "its own baseline (3 readings" in before.compared_with
