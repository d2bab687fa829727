"""Keeps the dashboard's server running: one that dies all the same is started anew, and the log says so."""

from __future__ import annotations

import logging
import signal
import subprocess
import time
from collections.abc import Callable

from ingest.errors import PumpledgerError

log = logging.getLogger(__name__)
STOPPED = (0, -signal.SIGTERM, -signal.SIGINT)  # somebody meant it
SHORT_LIFE_S = 20.0
MOST_SHORT_LIVES = 3  # in a row: then it doesn't die of a file, it can't run at all


class Supervisor:
    """One server process after another; `start` starts one."""

    def __init__(self, start: Callable[[], subprocess.Popen[bytes]]):
        self._start = start
        self._stopping = False
        self.process = start()

    def run(self) -> int:
        """Wait until the server is stopped, starting it anew whenever it dies; returns 0.

        Raises PumpledgerError when it keeps dying.
        """
        short_lives = 0
        while True:
            began = time.monotonic()
            status = self.process.wait()
            if self._stopping or status in STOPPED:
                return 0
            short_lives = short_lives + 1 if time.monotonic() - began < SHORT_LIFE_S else 0
            how = _how(status)
            if short_lives >= MOST_SHORT_LIVES:
                raise PumpledgerError(
                    "dashboard-keeps-ending",
                    f"The dashboard ended {short_lives} times in a row ({how}) and is not started again; "
                    "its messages are above.",
                )
            log.warning("The dashboard ended (%s) and is started anew; open pages reconnect.", how)
            self.process = self._start()

    def ask_to_stop(self) -> None:
        """Tell the server to stop; `run` then returns."""
        self._stopping = True
        self.process.terminate()

    def stop(self) -> None:
        """Stop the server, by force if it takes more than 10 s."""
        self._stopping = True
        if self.process.poll() is not None:
            return
        self.process.terminate()
        try:
            self.process.wait(10)
        except subprocess.TimeoutExpired:
            self.process.kill()


def _how(status: int) -> str:
    try:
        return f"by {signal.Signals(-status).name}" if status < 0 else f"with status {status}"
    except ValueError:
        return f"by signal {-status}"
