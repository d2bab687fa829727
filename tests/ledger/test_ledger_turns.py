"""Turns at the ledger: writers in the order they came, a reader after one writer at the most."""

import os
import signal
import subprocess
import sys
import threading

import pytest

from ingest.errors import LedgerError
from ingest.ledger import gate as gates
from ingest.ledger.byte_locks import ByteLocks
from ingest.ledger.gate import Turn, gate, reading_gate

WAIT_S = 60.0


class Line:
    """Threads that want a turn; each comes once the one before it is seen to wait."""

    def __init__(self, path):
        self.path = path
        self.came = []
        self.leave = {}
        self.threads = []
        self.eyes = ByteLocks(path.with_name(path.name + ".gate"))

    def come(self, name, way, *, waits):
        """Let one more come; returns when it is in, or where it `waits`, when it stands in line."""
        self.leave[name] = threading.Event()
        is_in = threading.Event()

        def have_turn():
            with way(Turn(self.path, WAIT_S)) as held:
                assert held
                self.came.append(name)
                is_in.set()
                assert self.leave[name].wait(WAIT_S)

        before = self.eyes.number(gates._TICKETS)
        self.threads.append(threading.Thread(target=have_turn))
        self.threads[-1].start()
        if not waits:
            assert is_in.wait(WAIT_S)
        elif way is gate:
            while self.eyes.number(gates._TICKETS) == before:
                pass
        else:
            while all(self.eyes.is_free(at) for at in gates._WAITING):
                pass

    def end(self):
        for event in self.leave.values():
            event.set()
        for thread in self.threads:
            thread.join(WAIT_S)


@pytest.fixture
def line(tmp_path):
    made = Line(tmp_path / "fleet.duckdb")
    yield made
    made.end()
    made.eyes.close()


def go(line, *names):
    for name in names:
        line.leave[name].set()


def test_writers_in_the_order_they_came_and_a_reader_before_the_second(line):
    line.come("writer 1", gate, waits=False)
    for name in ("writer 2", "writer 3", "writer 4"):
        line.come(name, gate, waits=True)
    line.come("reader", reading_gate, waits=True)
    go(line, "reader", "writer 1", "writer 2", "writer 3", "writer 4")
    line.end()
    assert line.came == ["writer 1", "reader", "writer 2", "writer 3", "writer 4"]


def test_a_writer_shuts_the_door_to_readers_who_come_after_it(line):
    line.come("reader 1", reading_gate, waits=False)
    line.come("writer", gate, waits=True)
    while line.eyes.is_free(gates._WRITER):
        pass
    line.come("reader 2", reading_gate, waits=True)
    go(line, "writer", "reader 2", "reader 1")
    line.end()
    assert line.came == ["reader 1", "writer", "reader 2"]


def test_readers_go_in_together(line):
    for name in ("reader 1", "reader 2", "reader 3"):
        line.come(name, reading_gate, waits=False)
    assert len(line.came) == 3


@pytest.mark.skipif(os.name != "posix", reason="needs kill -9")
@pytest.mark.parametrize("way", ["gate", "reading_gate"])
def test_a_killed_program_keeps_nobody_out(tmp_path, way):
    path = tmp_path / "fleet.duckdb"
    code = (
        f"import sys; from pathlib import Path; from ingest.ledger.gate import *\n"
        f"with {way}(Turn(Path(sys.argv[1]), 9)): print('in', flush=True); sys.stdin.read()"
    )
    other = subprocess.Popen(
        [sys.executable, "-c", code, path], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert other.stdout.readline() == "in\n"
    with pytest.raises(LedgerError, match="in use by another program"), gate(Turn(path, 0.0)):
        pass
    other.send_signal(signal.SIGKILL)
    other.wait()
    with gate(Turn(path, WAIT_S)) as held:
        assert held
    other.stdin.close()
    other.stdout.close()


def test_one_who_gives_up_waiting_leaves_the_line(line):
    line.come("writer 1", gate, waits=False)
    for way in (gate, reading_gate):
        with pytest.raises(LedgerError, match="in use by another program"), way(Turn(line.path, 0.0)):
            pass
    go(line, "writer 1")
    line.threads[0].join(WAIT_S)
    line.come("writer 2", gate, waits=False)
    assert line.came == ["writer 1", "writer 2"]
