"""What all tests share: in which order and where they run, new ledgers copied from one, what was learned of a
fleet kept, minutes by room."""

from __future__ import annotations

import gc
import json
import os
import shutil
import tempfile
from collections import Counter
from pathlib import Path

import duckdb
import pytest
from xdist.scheduler import LoadFileScheduling

from ingest.ledger import connection, migrations
from ingest.ledger.gate import Turn, connect
from tests.fits_kept import FOLDER, keep_fits
from tests.one_engine import one_engine

keep_fits()  # before a room's own conftest takes by name what is kept
MINUTES = Path(__file__).with_name("minutes.json")
BROWSER = "browser"
# Where it is tested how a new ledger comes about, or blocks of its file are damaged at a place of their own.
LEDGERS_MADE = tuple(
    f"tests/ledger/test_ledger_{name}.py"
    for name in ("check", "damage", "open", "place", "repair", "upgrade")
)
# Where several programs or damaged files meet, each opening counts.
ENGINES_APART = ("apart", BROWSER, "chains", "ledger", "serving")


def pytest_addoption(parser):
    parser.addoption("--minutes", action="store_true", help="tell at the end how long each room's tests took")
    parser.addoption(
        "--keep-minutes", action="store_true", help=f"keep each file's seconds in {MINUTES.name}"
    )
    parser.addoption(
        "--on-server", action="store_true", help="keep every new ledger on a PostgreSQL of this run's own"
    )


OWN_FOLDER = pytest.StashKey[str]()


def pytest_configure(config):
    if FOLDER not in os.environ:  # workers, and a run that a test starts, look where the first one says
        os.environ[FOLDER] = config.stash[OWN_FOLDER] = tempfile.mkdtemp(prefix="fits")


def pytest_unconfigure(config):
    if folder := config.stash.get(OWN_FOLDER, None):
        shutil.rmtree(folder, ignore_errors=True)


class BrowserApart(LoadFileScheduling):
    """A file's tests run in one worker, and all that wait for the browser in one of them.

    Half of a browser test is waiting, and others wait for programs that they start: more workers than cores
    work meanwhile, and no two browsers stand in each other's way.
    """

    def _split_scope(self, nodeid: str) -> str:
        return BROWSER if _room(nodeid) == BROWSER else _file(nodeid)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    config.option.loadscopereorder = False  # they come in order
    return BrowserApart(config, log)


def pytest_collection_modifyitems(config, items):
    """The browser's first, then the longest files, so that no worker is left alone with one at the end."""
    if config.option.on_server:
        for item in items:
            if item.get_closest_marker("of_a_file"):
                item.add_marker(pytest.mark.skip(reason="it is about a ledger's file"))
    seconds = json.loads(MINUTES.read_text(encoding="utf-8"))
    items.sort(key=lambda at: (_room(at.nodeid) != BROWSER, -seconds.get(_file(at.nodeid), 0)))


def pytest_collection_finish(session):
    """What collecting made stays to the end: the collector of garbage need not go through it time and again,
    which took a twelfth of the processor's time."""
    gc.freeze()
    gc.set_threshold(10_000, 10, 10)


def pytest_terminal_summary(terminalreporter):
    config = terminalreporter.config
    if not (config.option.minutes or config.option.keep_minutes):
        return
    seconds: Counter[str] = Counter()
    tests: Counter[str] = Counter()
    for reports in terminalreporter.stats.values():
        for report in reports:
            if getattr(report, "when", None):
                seconds[_file(report.nodeid)] += report.duration
                tests[_room(report.nodeid)] += report.when == "call"
    rooms: Counter[str] = Counter()
    for file, spent in seconds.items():
        rooms[_room(file)] += spent
    terminalreporter.section("minutes by room, all workers added")
    for room, spent in rooms.most_common():
        terminalreporter.write_line(f"{spent / 60:6.2f} min {tests[room]:5d} tests  {room}")
    terminalreporter.write_line(f"{rooms.total() / 60:6.2f} min {tests.total():5d} tests  in all")
    if config.option.keep_minutes:
        longest = {file: round(spent) for file, spent in seconds.most_common() if spent >= 1}
        MINUTES.write_text(json.dumps(longest, indent=0) + "\n", encoding="utf-8")


def _file(nodeid: str) -> str:
    return nodeid.partition("::")[0].removeprefix("tests/")


def _room(nodeid: str) -> str:
    room, _, rest = _file(nodeid).partition("/")
    return room if rest else "tests"


@pytest.fixture(scope="session", autouse=True)
def ledgers_on_a_server(request, tmp_path_factory):
    """With --on-server, what is written as a new ledger file is an address instead."""
    if not request.config.option.on_server:
        yield
        return
    from tests.postgres import every_ledger_on, running

    with running(tmp_path_factory.mktemp("server")) as server, every_ledger_on(server):
        yield


@pytest.fixture(scope="session", autouse=True)
def new_ledgers_are_copies(request, tmp_path_factory):
    """One new ledger a worker is made by every script, the rest are copies with an identity of their own.

    In LEDGERS_MADE, and where anything hinders a copy, a new ledger is made as always. On a server
    `every_ledger_on` does it.
    """
    if request.config.option.on_server:
        yield
        return
    create, scripts = connection.create, migrations.scripts
    first = tmp_path_factory.mktemp("ledger") / "new.duckdb"
    with connection.open_ledger(first, read_only=False):
        pass

    def copy(turn: Turn) -> duckdb.DuckDBPyConnection:
        tested = os.environ.get("PYTEST_CURRENT_TEST", "").startswith(LEDGERS_MADE)
        if tested or turn.path.exists() or migrations.scripts is not scripts:
            return create(turn)
        try:
            shutil.copyfile(first, turn.path)
        except OSError:
            turn.path.unlink(missing_ok=True)
            return create(turn)
        made = connect(turn, read_only=False)
        made.execute("UPDATE ledger_identity SET ledger_id = CAST(uuid() AS VARCHAR)")
        return made

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(connection, "create", copy)
        yield


@pytest.fixture(autouse=True)
def readers_share_an_engine(request):
    """In all rooms but ENGINES_APART."""
    if _room(request.node.nodeid) in ENGINES_APART:
        yield
        return
    with one_engine():
        yield
