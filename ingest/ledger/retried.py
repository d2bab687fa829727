"""Do a job on the ledger anew where another writer was quicker with the same thing."""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from itertools import count
from typing import TypeVar

from ingest.errors import LedgerError

RACED = "raced"  # the error's code: nothing was changed, and the same job may succeed now
PAUSE_S = (0.01, 0.06)
TRIES = 5
Result = TypeVar("Result")


def retried(job: Callable[[], Result], *, wait_s: float) -> Result:
    """Return what `job` returns, done anew when it lost a race: for `wait_s`, but at least a few times.

    A race is lost to somebody who has stored what both needed, so that few are lost one after the other.
    """
    until = time.monotonic() + wait_s
    for tried in count(1):
        try:
            return job()
        except LedgerError as error:
            if error.code != RACED or (tried > TRIES and time.monotonic() > until):
                raise
        time.sleep(random.uniform(*PAUSE_S))
    raise AssertionError
