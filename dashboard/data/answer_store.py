"""Long answers kept, so that pages of large fleets come up at once.

A small fleet is worked out anew whenever its ledger has changed. For a large one, and where many people ask
at once, the last answer is shown while the next is worked out by a process of its own, and the page says so.
The ranking of a large fleet is also kept in a file beside the ledger, for the next start of the server.
"""

from __future__ import annotations

import logging
import os
import pickle
import subprocess
import sys
import threading
import time
from concurrent.futures import Future
from dataclasses import dataclass, field, replace
from datetime import datetime
from io import BytesIO, StringIO
from pathlib import Path
from typing import Any

import pandas as pd

from dashboard.data import answers
from dashboard.data.answers import Ranking, Stamp
from ingest.errors import LedgerError
from ingest.sealed import seal_holds, sealed_parquet

log = logging.getLogger(__name__)
LARGE = 5_000  # pumps in service from which a ranking takes seconds
RETRY_S = 600.0  # a job that failed on this state of the ledger is tried again after so long
RENEW_S = 3600.0  # what `soon` shows is made anew no sooner, however often the ledger changes
WAIT_S = 2.0  # for answers that others have worked out in this process
FORM = 4


@dataclass(frozen=True)
class Kept:
    """One answer; `stamp` is the state of the ledger that it shows, `failed` whether a newer one could not be
    made."""

    stamp: Stamp
    value: Any
    made_at: datetime
    failed: bool = False


@dataclass
class AnswerStore:
    """The newest answers about one ledger, by name (dashboard.data.answers.MAKERS)."""

    ledger: Path
    newest: dict[str, Kept] = field(default_factory=dict)
    jobs: dict[str, Future[Kept]] = field(default_factory=dict)
    begun: dict[str, tuple[Stamp, float]] = field(default_factory=dict)  # of each job: state, time in seconds
    _lock: threading.Lock = field(default_factory=threading.Lock)
    # One job in the background at a time, and the record of forecasts, which takes longest, beside it.
    _turns: dict[bool, threading.Lock] = field(
        default_factory=lambda: {True: threading.Lock(), False: threading.Lock()}
    )
    _here_turn: threading.Lock = field(default_factory=threading.Lock)  # one at a time in this process
    _shared: answers.Shared = field(default_factory=answers.Shared)  # of those who have the turn here
    _begun_here: dict[str, float] = field(default_factory=dict)  # when each was last begun here, in seconds

    def get(self, name: str, stamp: Stamp, *, large: bool) -> Kept:
        """Return the answer for this state of the ledger or a later one, or the last one, being renewed.

        Waits where there is none yet, or the fleet is small and no others have theirs worked out.
        Raises PumpledgerError.
        """
        kept = self.at_once(name, stamp, large=large)
        if kept is not None:
            return kept
        return self._start(name, stamp).result() if large else self._here(name, stamp)

    def at_once(self, name: str, stamp: Stamp, *, large: bool) -> Kept | None:
        """Return what `get` would return without waiting, or None."""
        if large and name == "ranking" and name not in self.newest:
            self._take_from_file()
        kept = self.newest.get(name)
        if kept is not None and kept.stamp == stamp:
            return kept
        if kept is not None and large:
            return replace(kept, failed=_failed(self._start(name, stamp)))
        return None

    def soon(self, name: str, stamp: Stamp) -> Kept | None:
        """Return the newest answer, whatever state it shows, or None; one for this state is being made in the
        background, also for a small fleet, unless the newest is younger than RENEW_S. Raises PumpledgerError
        where it could not be made and there is none."""
        kept = self.newest.get(name)
        if kept is not None and (kept.stamp == stamp or _age_s(kept) < RENEW_S):
            return kept
        job = self._start(name, stamp)
        if kept is not None:
            return replace(kept, failed=_failed(job))
        return job.result() if job.done() else None

    def _here(self, name: str, stamp: Stamp) -> Kept:
        asked_s, last = time.monotonic(), self.newest.get(name)
        if not self._here_turn.acquire(timeout=WAIT_S if last else -1):
            assert last is not None
            return replace(last, failed=_failed(self._start(name, stamp)))
        try:
            kept = self.newest.get(name)
            # What was begun since shows this state or a later one: without that, each of several who wait
            # while others write would have it worked out again for a state that has passed.
            if kept is None or (kept.stamp != stamp and self._begun_here.get(name, 0.0) < asked_s):
                self._begun_here[name] = time.monotonic()
                kept = self._keep(name, *answers.work_out(name, self.ledger, self._shared))
            return kept
        finally:
            self._here_turn.release()

    def _start(self, name: str, stamp: Stamp) -> Future[Kept]:
        """Begin the next answer in the background, unless it is being made or just failed on this ledger."""
        with self._lock:
            last = self.jobs.get(name)
            if last is not None:
                state, begun_s = self.begun[name]
                again = state != stamp or time.monotonic() > begun_s + RETRY_S
                if not last.done() or (_failed(last) and not again):
                    return last
            job: Future[Kept] = Future()
            self.jobs[name], self.begun[name] = job, (stamp, time.monotonic())
        threading.Thread(target=self._work, args=(name, job), daemon=True, name=f"make {name}").start()
        return job

    def _work(self, name: str, job: Future[Kept]) -> None:
        try:
            with self._turns[name == "record"]:
                kept = self._keep(name, *apart(name, self.ledger))
            if name == "ranking":
                self._put_in_file(kept)
            job.set_result(kept)
        except BaseException as error:
            log.exception("working out the %s in the background failed", name)
            job.set_exception(error)

    def _keep(self, name: str, stamp: Stamp, value: Any) -> Kept:
        kept = Kept(stamp, value, datetime.now())
        self.newest[name] = kept
        return kept

    @property
    def file(self) -> Path:
        """The last ranking of a large fleet; may be deleted at any time."""
        return self.ledger.with_name(self.ledger.name + ".ranking.parquet")

    def _put_in_file(self, kept: Kept) -> None:
        import pyarrow.parquet as pq

        rows = kept.value.pumps.copy(deep=False)
        rows.attrs = {
            "form": FORM,
            "stamp": list(kept.stamp),
            "made_at": kept.made_at.isoformat(),
            "groups": kept.value.groups.to_json(orient="split"),
            "steps": list(kept.value.steps),
        }
        part = self.file.with_suffix(".part")
        try:
            # once more by way of a table: a seal keeps a damaged file from a library that it could end
            table = pq.read_table(BytesIO(rows.to_parquet(None, index=False)))
            part.write_bytes(sealed_parquet(table))
            part.replace(self.file)
        except OSError as error:  # a folder that can't be written: the next start ranks anew
            log.warning("the ranking could not be kept: %s", error)

    def _take_from_file(self) -> None:
        try:
            content = self.file.read_bytes()
            if not seal_holds(content):
                return
            rows = pd.read_parquet(BytesIO(content))
            marks = rows.attrs
            if marks["form"] == FORM:
                made_at = datetime.fromisoformat(marks["made_at"])
                groups = pd.read_json(StringIO(marks["groups"]), orient="split")
                rows.attrs = {}  # copied at every step otherwise
                kept = Kept(tuple(marks["stamp"]), Ranking(rows, groups, tuple(marks["steps"])), made_at)
                self.newest.setdefault("ranking", kept)
        except (OSError, ValueError, KeyError):  # none, cut short, or of another program
            return


def _age_s(kept: Kept) -> float:
    return (datetime.now() - kept.made_at).total_seconds()


def _failed(job: Future[Kept]) -> bool:
    return job.done() and job.exception() is not None


def apart(name: str, ledger: Path) -> tuple[Stamp, Any]:
    """As `answers.work_out`, in a process of its own, which waits a while for the next question.

    Raises LedgerError for whatever that process refused, CalledProcessError where it ended otherwise.
    """
    of = str(ledger.resolve()), name == "record"
    left = _left.pop(of, None)
    child = left or _begin(ledger)
    made = _answer(child, name)
    if made is None and child is left:  # it just ended for want of questions
        child = _begin(ledger)
        made = _answer(child, name)
    if made is None:
        raise subprocess.CalledProcessError(child.wait(), child.args)
    _left[of] = child
    shown, value = made
    if shown is None:
        raise LedgerError(*value)
    return shown, value


# Processes that wait a while for the next question, by ledger and whether it is about past forecasts.
_left: dict[tuple[str, bool], subprocess.Popen[bytes]] = {}


def _begin(ledger: Path) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", "dashboard.data.answers", str(ledger.resolve())]
    pipe = subprocess.PIPE
    return subprocess.Popen(command, cwd=Path(__file__).parents[2], stdin=pipe, stdout=pipe)


def _answer(child: subprocess.Popen[bytes], name: str) -> tuple[Stamp | None, Any] | None:
    """Return what a process answers, None where it has ended."""
    assert child.stdin is not None
    assert child.stdout is not None
    try:
        os.write(child.stdin.fileno(), f"{name}\n".encode())  # past its buffer, which would keep it
        return pickle.load(child.stdout)
    except (BrokenPipeError, EOFError, pickle.UnpicklingError):
        return None
