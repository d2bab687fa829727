"""Somebody bound to depots reads their units alone and writes nothing that concerns others."""

from datetime import date

import pytest

from ingest.author import Author
from ingest.errors import EntryRefused
from ingest.ledger.connection import open_ledger
from ingest.ledger.settings import set_setting
from ingest.ledger.tables import table_names
from ingest.visit.corrections import correct_visit
from ingest.visit.entry import VisitEntry
from ingest.visit.logging_visit import log_visit
from tests.authors import ANYBODY
from tests.ledger_fixture import build_ledger

NORTH = Author("NT", "manager", ("North",))
# Tables whose rows concern no unit, depot or person.
OF_NOBODY = {"schema_version", "last_id", "ledger_identity", "forgotten_name", "fit", "pump_type"} | {
    "connection_note",
    "clamp",
    "clamp_check",
}


@pytest.fixture
def ledger(tmp_path):
    path = build_ledger(tmp_path / "odd-name.v2.duckdb")
    set_setting(path, "ripple_limit_pct", 14, author=Author("SOUTHERN", "manager"), reason="tried")
    with open_ledger(path, read_only=False) as con:
        con.execute("UPDATE visit SET technician = 'SOUTHERN' WHERE unit IN ('105', '106', '007', '7')")
        con.execute("UPDATE vehicle SET vin = 'VIN-' || unit")
        con.execute(
            "INSERT INTO question (question_id, raised_at, table_name, row_key, unit, code, text, details)"
            " VALUES (900, now(), 'visit', '1', '101', 'other-unit', 'Is it unit 105?', NULL),"
            " (901, now(), 'visit', '1', '101', 'same-vin', NULL, '{\"vin\": \"x\", \"other\": \"106\"}'),"
            " (902, now(), 'visit', '1', '101', 'odometer-slow', NULL, '{\"km\": 105, \"own\": \"101\"}')"
        )
    return path


def everything(con):
    """Return all cells of all tables and views, as text, by name."""
    names = sorted({*table_names(con), "visit_detail", "current_reading"})
    return {name: str(sorted(map(str, con.execute(f"SELECT * FROM {name}").fetchall()))) for name in names}


def test_no_table_shows_a_foreign_unit_serial_vin_or_initials(ledger):
    with open_ledger(ledger) as con:
        whole = everything(con)
    with open_ledger(ledger, depots=("North",)) as con:
        seen = everything(con)
        assert [u for (u,) in con.execute("SELECT unit FROM vehicle ORDER BY 1").fetchall()] == [
            "101", "102", "103", "104",
        ]  # fmt: skip
    for foreign in ("'105'", "'106'", "'007'", "S-105", "VIN-105", "SOUTHERN", "South", "unit 105"):
        assert any(foreign in cells for cells in whole.values())
        assert not [name for name, cells in seen.items() if foreign in cells], foreign
    assert "odometer-slow" in seen["question"]
    for own in ("'101'", "S-101", "VIN-101"):
        assert any(own in cells for cells in seen.values())


def test_every_table_is_bound_or_concerns_nobody(ledger):
    """A table added later is either looked at here or bound."""
    with open_ledger(ledger, depots=("North",)) as con:
        rows = con.execute("SELECT view_name FROM duckdb_views() WHERE temporary AND NOT internal").fetchall()
        bound = {name for (name,) in rows}
        tables = {
            name
            for (name,) in con.execute(
                "SELECT table_name FROM duckdb_tables() WHERE NOT temporary"
            ).fetchall()
        }
    assert tables - OF_NOBODY <= bound


def test_several_depots_and_depots_that_are_none(ledger):
    with open_ledger(ledger, depots=("North", "South")) as con:
        assert con.execute("SELECT count(*) FROM vehicle").fetchall() == [(8,)]
    for none in ("north", "", "North' OR TRUE --"):
        with open_ledger(ledger, depots=(none,)) as con:
            assert con.execute("SELECT count(*) FROM visit").fetchall() == [(0,)]


def log(ledger, unit, author, answers=None):
    entry = VisitEntry(unit, meter_a=5.1, odometer_km=136_000.0, visited_on=date(2026, 1, 5))
    return log_visit(ledger, entry, None, None, answers or {}, author=author)


def cells(ledger):
    with open_ledger(ledger) as con:
        return everything(con)


@pytest.mark.parametrize("unit", ["105", "nowhere"])
def test_a_visit_of_another_depots_unit_is_refused_as_if_there_were_none(ledger, unit):
    before = cells(ledger)
    with pytest.raises(EntryRefused) as refused:
        log(ledger, unit, NORTH, {"unit-new": "new"})
    assert refused.value.text == (
        f"Unit {unit} is not of North, which you are bound to; nothing was changed."
        " Ask somebody of that depot."
    )
    assert cells(ledger) == before


def test_a_visit_of_an_own_unit_is_stored_and_asks_about_no_other(ledger):
    assert log(ledger, "102", NORTH).stored


@pytest.mark.parametrize("change", ["visit", "setting"])
def test_a_change_beyond_the_depot_is_undone(ledger, change):
    before = cells(ledger)
    with open_ledger(ledger) as con:
        [(foreign,)] = con.execute("SELECT max(visit_id) FROM visit WHERE unit = '105'").fetchall()
    make = {
        "visit": lambda who: correct_visit(
            ledger, foreign, {"supply_v": 12.9}, author=who, reason="read again"
        ),
        "setting": lambda who: set_setting(ledger, "ripple_limit_pct", 13, author=who, reason="tried"),
    }[change]
    with pytest.raises(EntryRefused, match="bound to; nothing was changed"):
        make(NORTH)
    assert cells(ledger) == before
    make(ANYBODY)
    assert cells(ledger) != before
