"""The parent's side: start a child, ask it, give up on it in time, keep one warm, never wait for a dead one.

Children are started as programs of their own: a server must neither be forked (its threads are copied
half-way) nor have its page run again in a worker.
"""

from __future__ import annotations

import atexit
import contextlib
import logging
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from ingest.apart.frames import BrokenFrame, read_frame, write_frame

log = logging.getLogger(__name__)
AT_ONCE = 4
# What is said of a file that got no answer in time by the clock, whatever is in it: another try may read it.
BUSY = "this machine was too busy to read it in time; try again"
_ROOT = str(Path(__file__).parents[2])


class ChildEnded(Exception):
    """A child ended instead of answering; `over_time`: it had used up its CPU time; `starved`: only its time
    by the clock, on a machine that gave it too little of its own."""

    def __init__(self, how: str, *, over_time: bool = False, starved: bool = False):
        super().__init__(how)
        self.over_time = over_time
        self.starved = starved


class Child:
    """One running process that answers frames (`apart.serving_child`)."""

    def __init__(self, module: str):
        paths = [_ROOT, *filter(None, os.environ.get("PYTHONPATH", "").split(os.pathsep))]
        quiet = {
            "PYTHONPATH": os.pathsep.join(dict.fromkeys(paths)),
            # the C library's own allocator says no at the limit instead of ending the process
            "ARROW_DEFAULT_MEMORY_POOL": "system",
            # before numpy comes in: with more threads the last digits depend on how many there are
            **dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1"),
        }
        self.process = subprocess.Popen(
            # -P: a folder of captures that holds a numpy.py must not be imported from
            [sys.executable, "-P", "-m", module],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env=os.environ | quiet,
        )

    def ask(
        self, about: dict[str, Any], body: bytes | memoryview, wall_s: float
    ) -> tuple[dict[str, Any], bytes]:
        """Return the answer; ChildEnded where none comes within wall_s, or the child dies of the question."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        timer = threading.Timer(wall_s, self.process.kill)
        timer.daemon = True
        start = time.monotonic()
        timer.start()
        try:
            write_frame(self.process.stdin, about, body)
            answer = read_frame(self.process.stdout)
        except (BrokenFrame, OSError, ValueError):
            answer = None
        finally:
            timer.cancel()
        if answer is not None:
            return answer
        with contextlib.suppress(subprocess.TimeoutExpired):
            self.process.wait(0.5)  # one that is dying tells best by itself what it dies of
        self.close()
        status = self.process.returncode
        over_time = status == -getattr(signal, "SIGXCPU", 24)
        starved = not over_time and time.monotonic() - start >= wall_s
        raise ChildEnded(_how_it_ended(status), over_time=over_time, starved=starved)

    def close(self) -> None:
        """End the process, whatever it does, and wait for it; a thread that asks it then gets ChildEnded."""
        self.process.kill()
        self.process.wait()
        # only now: a thread that still reads holds the pipe until its other end is gone
        for pipe in (self.process.stdin, self.process.stdout):
            with contextlib.suppress(OSError):
                if pipe is not None:
                    pipe.close()


def _how_it_ended(status: int | None) -> str:
    if status is not None and status < 0:
        with contextlib.suppress(ValueError):
            return f"it was ended by {signal.Signals(-status).name}"
    return f"it ended with status {status}"


class Children:
    """Asks children of one kind, at most AT_ONCE at a time, from any thread; one is kept warm."""

    def __init__(self, module: str):
        self.module = module
        self._lock = threading.Lock()
        self._places = threading.BoundedSemaphore(AT_ONCE)
        self._warm: Child | None = None
        self._owner = os.getpid()
        atexit.register(self.close)

    def ask(
        self,
        about: dict[str, Any],
        body: bytes | memoryview,
        wall_s: float,
        *,
        sound: Callable[[dict[str, Any]], bool] = lambda _answer: True,
    ) -> tuple[dict[str, Any], bytes]:
        """Return a child's answer. A child that died, or whose answer isn't sound, is replaced by a new one.

        Raises ChildEnded where it died of the question.
        """
        with self._places:
            child = self._take()
            try:
                answer = child.ask(about, body, wall_s)
            except ChildEnded as ended:
                log.info(
                    "The process that reads files ended over %r (%s); another is started.",
                    about.get("name", "a file of ours"),
                    ended,
                )
                self._keep(None)
                raise
            except BaseException:
                child.close()
                raise
            if sound(answer[0]):
                self._keep(child)
            else:
                child.close()
                self._keep(None)
            return answer

    def get_ready(self) -> None:
        """Start a child if none waits, so that the first question needn't wait for its imports."""
        with self._lock:
            if self._owner != os.getpid() or (self._warm and self._warm.process.poll() is None):
                return
            self._warm = Child(self.module)

    def close(self) -> None:
        """End the warm child."""
        with self._lock:
            child, self._warm = self._warm, None
        if child is not None and self._owner == os.getpid():
            child.close()

    def _take(self) -> Child:
        with self._lock:
            if self._owner != os.getpid():  # we are a copy of the process whose pipes these are
                self._warm, self._owner = None, os.getpid()
            child, self._warm = self._warm, None
        if child is not None and child.process.poll() is None:
            return child
        if child is not None:
            log.info("The process that reads files had ended; another is started.")
            child.close()
        return Child(self.module)

    def _keep(self, child: Child | None) -> None:
        """Keep a child for the next question, or start one, so that the next doesn't wait for imports."""
        with self._lock:
            if self._warm is None:
                self._warm, child = child or Child(self.module), None
        if child is not None:
            child.close()
