"""Life events of pumps: a new pump is a new life, and every change is in the log."""

from datetime import date

import pytest

from ingest.author import Author
from ingest.errors import EntryRefused
from ingest.fleet_folder.loading import load_folder
from ingest.ledger.connection import open_ledger
from ingest.visit.pump_lives import (
    NewPump,
    Removal,
    fit_pump,
    move_pump,
    record_breakdown,
    record_service,
    replace_pump,
)
from tests.authors import ANYBODY
from tests.fleet_folder.fleet_folders import ONE_UNIT, steady_visits, write_visits
from tests.ledger_fixture import copied

CHANGE = date(2024, 7, 8)  # the day of the third visit


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    place = tmp_path_factory.mktemp("made")
    folder = write_visits(place / "f", steady_visits(n=5), **(ONE_UNIT | {"vehicles": "unit\nT1\nT2"}))
    load_folder(place / "fleet.duckdb", folder, author=ANYBODY)
    return place / "fleet.duckdb"


@pytest.fixture
def ledger(made, tmp_path):
    return copied(made, tmp_path)


def query(ledger, sql):
    with open_ledger(ledger) as connection:
        return connection.execute(sql).fetchall()


def test_replacement_closes_one_life_and_begins_another(ledger, tmp_path):
    why = Removal("failed", "worn", "low output", "wear", "dirty fuel", cost=410, claim="C-17")
    old, new = replace_pump(
        ledger,
        "T1",
        why,
        NewPump(serial="S2"),
        on=CHANGE,
        odometer_km=74_030,
        filter_kept=True,
        author=Author("Kim", "manager"),
    )
    lives = query(
        ledger,
        "SELECT pump_id, serial, pump_type, fitted_on, removed_on, removal, found, failure_mode,"
        " failure_mechanism, cause, claim FROM pump ORDER BY pump_id",
    )
    assert lives[0][0] == old
    assert lives[0][4:] == (CHANGE, "failed", "worn", "low output", "wear", "dirty fuel", "C-17")
    assert lives[1][:5] == (new, "S2", "P1", CHANGE, None)
    # The reading at the change stays with the pump taken off; what follows starts the new one's trend.
    counts = query(ledger, "SELECT pump_id, count(*), min(visited_on) FROM visit GROUP BY 1 ORDER BY 1")
    assert [(pump, n) for pump, n, _ in counts] == [(old, 3), (new, 2)]
    assert query(ledger, "SELECT work FROM service") == [("filter_kept",)]
    logged = query(ledger, "SELECT DISTINCT changed_by, table_name FROM change_log ORDER BY 2")
    assert logged == [("Kim", "pump"), ("Kim", "service"), ("Kim", "visit")]
    # The folder, which knows nothing of it, changes nothing of it.
    assert load_folder(ledger, tmp_path / "f", author=ANYBODY).changes == 0


@pytest.mark.parametrize(
    ("removal", "found"),
    [
        ("on_condition", "tested_good"),
        ("opportunity", None),
        ("other", "not_examined"),
        ("failed", "tested_good"),  # a breakdown with no fault found
    ],
)
def test_a_removal_is_kept_as_told(ledger, removal, found):
    replace_pump(ledger, "T1", Removal(removal, found), on=CHANGE, author=ANYBODY)
    rows = query(ledger, "SELECT removal, found FROM pump WHERE removed_on IS NOT NULL")
    assert rows == [(removal, found or "not_examined")]


def test_what_cannot_be_is_refused_and_nothing_is_stored(ledger):
    before = query(ledger, "FROM pump")
    for call, code in (
        (lambda: replace_pump(ledger, "T2", Removal("failed"), on=CHANGE, author=ANYBODY), "no-pump"),
        (lambda: replace_pump(ledger, "T9", Removal("failed"), on=CHANGE, author=ANYBODY), "unknown-unit"),
        (
            lambda: replace_pump(ledger, "T1", Removal("failed"), on=date(2020, 1, 1), author=ANYBODY),
            "before-fitting",
        ),
        (lambda: replace_pump(ledger, "T1", Removal("broke"), on=CHANGE, author=ANYBODY), "unknown-removal"),
        (lambda: fit_pump(ledger, "T1", NewPump("P1"), author=ANYBODY), "position-taken"),
        (lambda: move_pump(ledger, "T2", "T1", on=CHANGE, author=ANYBODY), "no-pump"),
        (lambda: move_pump(ledger, "T1", "T1", on=CHANGE, author=ANYBODY), "position-taken"),
        (
            lambda: move_pump(ledger, "T1", "T2", on=CHANGE, odometer_from_km=1, author=ANYBODY),
            "below-fitting",
        ),
        (lambda: record_service(ledger, "T1", "polish", on=CHANGE, author=ANYBODY), "unknown-work"),
    ):
        with pytest.raises(EntryRefused) as refused:
            call()
        assert refused.value.code == code
    assert query(ledger, "FROM pump") == before
    assert query(ledger, "FROM change_log") == []


def test_a_second_position_and_an_unknown_fitting_date(ledger):
    fit_pump(ledger, "T1", NewPump("P1", run_share=0.5), position="second", author=ANYBODY)
    assert query(ledger, "SELECT position, run_share, fitted_on FROM pump ORDER BY pump_id") == [
        ("main", 1.0, date(2023, 6, 1)),
        ("second", 0.5, None),
    ]


def test_a_pump_goes_in_after_the_one_before_came_off(ledger):
    move_pump(ledger, "T1", "T2", on=CHANGE, author=ANYBODY)
    with pytest.raises(EntryRefused) as refused:
        fit_pump(ledger, "T1", NewPump("P1"), on=date(2024, 7, 1), author=ANYBODY)
    assert refused.value.text == (
        "The pump before it came off unit T1 on 2024-07-08; another can't go in on 2024-07-01."
    )
    fit_pump(ledger, "T1", NewPump("P1"), on=CHANGE, author=ANYBODY)


def test_a_moved_pump_keeps_the_distance_it_has_run(ledger):
    [(pump_id, fitted_km)] = query(ledger, "SELECT pump_id, fitted_odometer_km FROM pump")
    new = move_pump(
        ledger,
        "T1",
        "T2",
        on=CHANGE,
        odometer_from_km=fitted_km + 25_000,
        odometer_to_km=1_000,
        author=Author("Kim", "manager"),
    )
    row = query(
        ledger, f"SELECT unit, serial, prior_distance_km, continues_pump_id FROM pump WHERE pump_id = {new}"
    )
    assert row == [("T2", "S1", pytest.approx(25_000), pump_id)]
    assert query(ledger, f"SELECT removal, cause FROM pump WHERE pump_id = {pump_id}") == [
        ("other", "moved to unit T2")
    ]


def test_services_and_breakdowns(ledger):
    record_service(ledger, "T1", "filter", on=CHANGE, odometer_km=74_000, author=ANYBODY)
    record_breakdown(ledger, "T1", on=CHANGE, pump_confirmed="no", cost=300, note="relay", author=ANYBODY)
    filters = query(ledger, "SELECT DISTINCT filter_changed_on FROM visit_detail ORDER BY 1 NULLS FIRST")
    assert filters == [(None,), (CHANGE,)]
    assert query(ledger, "SELECT pump_confirmed, note FROM breakdown") == [("no", "relay")]
    # The filter's change is no change of pump: the trend goes on.
    assert query(ledger, "SELECT count(DISTINCT pump_id) FROM visit") == [(1,)]
