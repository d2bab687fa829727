"""A process that works for another ends soon after it, since nobody is left to take what it makes."""

from __future__ import annotations

import os
import threading
import time

LOOK_S = 2.0  # between two looks at whether the other is still there


def end_with(parent: int) -> None:
    """Have this process end without a word soon after its parent, a process number, has."""
    threading.Thread(target=_end_after, args=(parent,), daemon=True, name="end with parent").start()


def _end_after(parent: int) -> None:
    while os.getppid() == parent:
        time.sleep(LOOK_S)
    os._exit(1)
