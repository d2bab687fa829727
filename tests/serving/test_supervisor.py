"""A server that dies is started anew and the log says so; one that is stopped, or can't run, is not."""

from __future__ import annotations

import logging
import os
import signal
import subprocess
import sys
import threading
import time

import pytest

from dashboard.serving import supervisor
from dashboard.serving.supervisor import Supervisor
from ingest.errors import PumpledgerError


def lives(*scripts):
    """Return a starter of one Python script after another, the last again and again."""
    waiting = list(scripts)

    def start() -> subprocess.Popen[bytes]:
        script = waiting.pop(0) if len(waiting) > 1 else waiting[0]
        return subprocess.Popen([sys.executable, "-c", script])

    return start


def test_a_server_that_dies_is_started_anew_and_the_log_says_so(caplog):
    with caplog.at_level(logging.WARNING):
        assert Supervisor(lives("import os; os.abort()", "raise SystemExit(0)")).run() == 0
    assert "ended (by SIGABRT) and is started anew" in caplog.text


def test_a_server_that_keeps_dying_is_told_in_a_sentence():
    with pytest.raises(PumpledgerError, match=r"ended 3 times in a row \(with status 3\)"):
        Supervisor(lives("raise SystemExit(3)")).run()


def test_lives_of_some_length_are_not_counted(monkeypatch):
    monkeypatch.setattr(supervisor, "SHORT_LIFE_S", 0.0)
    dies = "raise SystemExit(3)"
    assert Supervisor(lives(dies, dies, dies, dies, "raise SystemExit(0)")).run() == 0


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_server_that_somebody_stops_stays_stopped(number):
    assert Supervisor(lives(f"import os, signal; signal.signal({int(number)}, signal.SIG_DFL); "
                            f"os.kill(os.getpid(), {int(number)})")).run() == 0  # fmt: skip


def test_asking_it_to_stop_ends_the_wait():
    server = Supervisor(lives("import time; time.sleep(600)"))
    ended = []
    waiting = threading.Thread(target=lambda: ended.append(server.run()))
    waiting.start()
    server.ask_to_stop()
    waiting.join(60)
    assert ended == [0]


def test_stop_leaves_no_server_behind():
    server = Supervisor(lives("import time; time.sleep(600)"))
    server.stop()
    end = time.monotonic() + 60
    while server.process.poll() is None and time.monotonic() < end:
        time.sleep(0.05)
    with pytest.raises(ProcessLookupError):
        os.kill(server.process.pid, 0)
