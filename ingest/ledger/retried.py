"""Do a job on the ledger anew where another writer was quicker with the same thing."""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from typing import TypeVar

from ingest.errors import LedgerError

RACED = "raced"  # the error's code: nothing was changed, and the same job may succeed now
PAUSE_S = (0.01, 0.06)
Result = TypeVar("Result")


def retried(job: Callable[[], Result], *, wait_s: float) -> Result:
    """Return what `job` returns, done anew each time it lost a race, for as long as `wait_s`."""
    until = time.monotonic() + wait_s
    while True:
        try:
            return job()
        except LedgerError as error:
            if error.code != RACED or time.monotonic() > until:
                raise
        time.sleep(random.uniform(*PAUSE_S))
