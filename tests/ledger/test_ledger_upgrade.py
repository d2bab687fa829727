"""An upgrade killed at any statement leaves the whole old ledger or the whole new one, on either engine."""

import json
import os
import shutil
import subprocess
import sys

import pytest

from ingest.ledger import migrations
from tests.ledger.killed_upgrades import demand_whole, make_old, open_and_close

NEWEST = max(migrations.scripts())
# Each line's files are looked at; killed in earnest it is at some of them, at every one by hand.
STRIDE = "270"
pytestmark = [pytest.mark.timeout(600), pytest.mark.of_a_file]
LONG_TERM = "duckdb==1.5.5"  # the oldest engine that a ledger must open on


def run_on(engine, *arguments):
    """Run a module of these tests by this engine (None: today's) and return what it printed."""
    command = [sys.executable]
    if engine:
        command = ["uv", "run", "--no-sync", "--quiet", "--with", engine, "python"]
    done = subprocess.run([*command, "-m", *arguments], capture_output=True, text=True, timeout=550)
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def long_term():
    """The long-term engine, laid over this environment; skipped where it can't be had, but not in CI."""
    why = "uv is not installed" if not shutil.which("uv") else None
    if not why:
        probe = subprocess.run(
            ["uv", "run", "--no-sync", "--quiet", "--with", LONG_TERM, "python", "-c",
             "import duckdb, ingest; print(duckdb.__version__)"],
            capture_output=True, text=True, timeout=250,
        )  # fmt: skip
        why = None if probe.stdout.strip() == "1.5.5" else f"{LONG_TERM} can't be had: {probe.stderr[-300:]}"
    if why:
        if os.environ.get("CI"):
            pytest.fail(why)
        pytest.skip(why)
    return LONG_TERM


@pytest.mark.skipif(os.name != "posix", reason="needs kill -9")
@pytest.mark.parametrize("version", [0, 1])
def test_a_killed_upgrade_leaves_the_old_ledger_or_the_new(tmp_path, version):
    found = json.loads(run_on(None, "tests.ledger.killed_upgrades", tmp_path, str(version), STRIDE))
    assert found["wrong"] == []
    assert found["kills"] > 2
    assert found["old"] > 5
    assert found["new"] > 5
    assert found["new"] + found["old"] == found["kills"] + found["looks"]


@pytest.mark.skipif(os.name != "posix", reason="needs kill -9")
@pytest.mark.long_term
def test_a_killed_upgrade_on_the_long_term_engine(tmp_path, long_term):
    """From the first schema, whose every script runs: this is the engine that reads not every change back."""
    found = json.loads(run_on(long_term, "tests.ledger.killed_upgrades", tmp_path, "1", STRIDE))
    assert found["engine"] == "1.5.5"
    assert found["wrong"] == []
    assert found["new"] + found["old"] == found["kills"] + found["looks"]
    assert min(found["kills"], found["new"]) > 2


@pytest.mark.long_term
def test_a_ledger_goes_from_engine_to_engine(tmp_path, long_term):
    """What one engine wrote, old schema or new, the other opens and upgrades, and back."""
    for version in sorted({1, NEWEST - 1, NEWEST}):
        ledger = tmp_path / f"{version}.duckdb"
        make_old(ledger, version)
        run_on(long_term, "tests.ledger.killed_upgrades", "open", ledger)
        demand_whole(ledger, rows=True)
    fresh = tmp_path / "fresh.duckdb"
    run_on(long_term, "tests.ledger.killed_upgrades", "open", fresh)
    open_and_close(fresh)
    demand_whole(fresh, rows=False)
    run_on(long_term, "tests.ledger.killed_upgrades", "open", fresh)
