"""A ledger on PostgreSQL, on the engine that has what reaches a server: its cases, a share of each room."""

import os
import re
import shutil
import subprocess
import tomllib
from pathlib import Path

import pytest

from tests.postgres import programs

pytestmark = pytest.mark.of_a_file

TESTS = Path(__file__).parents[1]
PROJECT = TESTS.parent / "pyproject.toml"
CASES = TESTS / "ledger/server_cases.py"
# Of each room that asks the ledger, what writes, undoes and reads in many ways for little time.
SHARE = {
    "ledger": (
        "test_ledger_transaction.py::test_all_is_kept_or_nothing",
        "test_ledger_transaction.py::test_only_cells_that_differ_are_changed_and_logged",
        "test_ledger_transaction.py::test_the_authors_role_says_what_may_be_written",
        "test_bound_to_depots.py::test_no_table_shows_a_foreign_unit_serial_vin_or_initials",
    ),
    "visit": ("test_settling.py::test_a_visit_is_withdrawn_with_its_question_and_stays_in_the_record",),
    "fleet_folder": ("test_round_trip.py::test_a_folder_told_in_full_comes_back_as_it_went_in",),
    "judging": ("test_trade_limits.py",),
    "risk": ("test_pump_story.py::test_the_last_state_is_that_of_the_ranking",),
    "scheduling": ("test_plan_bookings.py::test_pin_move_reject_withdraw",),
}


@pytest.fixture(scope="module")
def passed():
    """Run tests with the extra `server` laid over; returns how many passed, and fails where any did not.

    Skips where the extra or PostgreSQL can't be had, but not in CI.
    """
    extra = tomllib.loads(PROJECT.read_text(encoding="utf-8"))["project"]["optional-dependencies"]["server"]
    run = ["uv", "run", "--no-sync", "--quiet", *(part for name in extra for part in ("--with", name))]
    why = "uv is not installed" if not shutil.which("uv") else None
    why = why or (None if programs() else "PostgreSQL is not installed")
    if not why:
        probe = subprocess.run(
            [*run, "python", "-c", "import psycopg, duckdb_extension_postgres_scanner"],
            capture_output=True, text=True, timeout=250,
        )  # fmt: skip
        why = f"the extra `server` can't be had: {probe.stderr[-300:]}" if probe.returncode else None
    if why:
        if os.environ.get("CI"):
            pytest.fail(why)
        pytest.skip(why)

    def run_tests(*asked):
        done = subprocess.run(
            [*run, "python", "-m", "pytest", "-q", "-n", "0", "-p", "no:cacheprovider", *asked],
            capture_output=True, text=True, timeout=280,
        )  # fmt: skip
        assert done.returncode == 0, done.stdout[-6000:] + done.stderr[-2000:]
        return int(re.search(r"(\d+) passed", done.stdout)[1])

    return run_tests


def test_a_ledger_on_a_server(passed):
    assert passed(CASES) == CASES.read_text(encoding="utf-8").count("\ndef test_")


def test_a_share_of_each_room_passes_on_a_server(passed):
    """Each new ledger of theirs is a schema of its own on one server."""
    assert passed("--on-server", *(TESTS / room / one for room, share in SHARE.items() for one in share))
