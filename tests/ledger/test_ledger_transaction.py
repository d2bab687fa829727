"""One way to write: whole or not at all, also inside another, by an author whose role may."""

from contextlib import nullcontext
from datetime import date

import pytest

from ingest.author import NO_SIGN_IN, Author, operating_system_user
from ingest.errors import EntryRefused, LedgerError
from ingest.ledger.changes import add_row, change_cells
from ingest.ledger.connection import open_ledger
from ingest.ledger.numbers import ID_COLUMNS, new_ids
from ingest.ledger.retried import RACED, retried
from ingest.ledger.transaction import Undone, transaction
from tests.authors import ANYBODY


@pytest.fixture
def con(tmp_path):
    with open_ledger(tmp_path / "fleet.duckdb", read_only=False) as connection:
        yield connection


def units(con):
    return [unit for (unit,) in con.execute("SELECT unit FROM vehicle ORDER BY unit").fetchall()]


def log_of(con):
    return con.execute(
        "SELECT changed_by, command, table_name, row_key, field, old_value, new_value, reason"
        " FROM change_log ORDER BY change_id"
    ).fetchall()


def add_and_fail(con, unit, inside):
    with transaction(con, ANYBODY, "facts") as stamp:
        with transaction(con, ANYBODY, "facts") if inside else nullcontext(stamp) as mine:
            add_row(con, "vehicle", {"unit": unit}, mine)
        raise ZeroDivisionError


def test_all_is_kept_or_nothing(con):
    with pytest.raises(ZeroDivisionError):
        add_and_fail(con, "1", inside=False)
    assert units(con) == []
    assert log_of(con) == []
    with transaction(con, ANYBODY, "facts") as stamp:
        add_row(con, "vehicle", {"unit": "1"}, stamp)
    assert units(con) == ["1"]


def test_one_inside_another_is_kept_or_undone_with_it(con):
    with transaction(con, ANYBODY, "facts") as stamp:
        with transaction(con, ANYBODY, "facts") as inner:
            add_row(con, "vehicle", {"unit": "1"}, inner)
        add_row(con, "vehicle", {"unit": "2"}, stamp)
    assert units(con) == ["1", "2"]
    with pytest.raises(ZeroDivisionError):
        add_and_fail(con, "3", inside=True)
    assert units(con) == ["1", "2"]


def test_what_failed_inside_cant_be_passed_over(con):
    def pass_over():
        with transaction(con, ANYBODY, "facts"):
            try:
                with transaction(con, ANYBODY, "facts") as inner:
                    add_row(con, "vehicle", {"unit": "1"}, inner)
                    raise ZeroDivisionError
            except ZeroDivisionError:
                pass

    with pytest.raises(RuntimeError, match="nothing is kept"):
        pass_over()
    assert units(con) == []
    with transaction(con, ANYBODY, "facts") as stamp:  # and the next one begins anew
        add_row(con, "vehicle", {"unit": "2"}, stamp)
    assert units(con) == ["2"]


def test_a_dry_run_is_undone_without_an_error(con):
    with transaction(con, ANYBODY, "facts") as stamp:
        add_row(con, "vehicle", {"unit": "1"}, stamp)
        raise Undone
    assert units(con) == []


@pytest.mark.parametrize(
    ("role", "may", "may_not"),
    [
        ("technician", ("work", "notes"), ("correct", "facts", "plan", "load", "settings", "prices")),
        ("planner", ("work", "notes", "correct", "facts", "plan", "load"), ("settings", "prices")),
        ("manager", ("work", "notes", "correct", "facts", "plan", "load", "settings", "prices"), ()),
    ],
)
def test_the_authors_role_says_what_may_be_written(con, role, may, may_not):
    for what in may:
        with transaction(con, Author("Kim", role), what):
            pass
    for what in may_not:
        with pytest.raises(EntryRefused, match="may not do this"), transaction(con, Author("K", role), what):
            raise AssertionError("was let in")


def test_without_sign_in_and_on_the_command_line_there_is_a_name(con):
    for author in (NO_SIGN_IN, operating_system_user()):
        with transaction(con, author, "facts", command="test") as stamp:
            add_row(con, "pump_type", {"pump_type": author.name}, stamp)
    assert [line[0] for line in log_of(con)] == ["no sign-in", operating_system_user().name]
    assert NO_SIGN_IN.signing("TK").name == "TK"
    assert NO_SIGN_IN.signing("  ") == NO_SIGN_IN


def test_only_cells_that_differ_are_changed_and_logged(con):
    with transaction(con, Author("Kim", "planner"), "facts", command="desk") as stamp:
        add_row(con, "vehicle", {"unit": "1", "year": 2020, "system_v": 12.0}, stamp)
        said = {"year": 2020, "system_v": 24, "in_service_on": date(2024, 2, 1), "depot": None}
        assert change_cells(con, "vehicle", "1", said, stamp, reason="seen") == 2
        assert change_cells(con, "vehicle", "1", said, stamp, reason="seen") == 0
    assert log_of(con)[1:] == [
        ("Kim", "desk", "vehicle", "1", "system_v", "12", "24", "seen"),
        ("Kim", "desk", "vehicle", "1", "in_service_on", None, "2024-02-01", "seen"),
    ]
    with pytest.raises(EntryRefused, match="no '2' in vehicle"), transaction(con, ANYBODY, "facts") as stamp:
        change_cells(con, "vehicle", "2", {"year": 1999}, stamp, reason=None)


def test_numbers_are_given_once_and_those_undone_again(con):
    assert list(new_ids(con, "visit", 3)) == [1, 2, 3]
    with transaction(con, ANYBODY, "work"):
        assert list(new_ids(con, "visit", 2)) == [4, 5]
        raise Undone
    assert list(new_ids(con, "visit")) == [4]
    numbered = con.execute("SELECT table_name FROM last_id ORDER BY 1").fetchall()
    assert [name for (name,) in numbered] == sorted(ID_COLUMNS)


def test_who_lost_a_race_tries_again_a_few_times_at_least():
    def lose(times, code=RACED):
        tries = []

        def job():
            tries.append(1)
            if len(tries) <= times:
                raise LedgerError(code, "Another was quicker.")
            return len(tries)

        return job

    assert retried(lose(3), wait_s=0) == 4
    with pytest.raises(LedgerError, match="quicker"):
        retried(lose(100), wait_s=0)
    with pytest.raises(LedgerError, match="quicker"):
        retried(lose(1, "disk-full"), wait_s=5)
