"""The child's side: answer one frame after another, within limits of memory and CPU that it sets itself.

The limits are set after the imports, so that what a library takes for itself doesn't count.
"""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from ingest.apart.frames import BrokenFrame, read_frame, write_frame

Answer = Callable[[dict[str, Any], bytes], tuple[dict[str, Any], bytes | memoryview]]


def serve_frames(answer: Answer, *, memory_bytes: int, cpu_s: float) -> None:
    """Answer frames from standard input until it ends.

    memory_bytes: how much this process may take beyond what it has now; cpu_s: CPU time for each answer.
    """
    # Ctrl+C is the parent's to answer: this process ends when its pipe does.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    out = os.fdopen(os.dup(1), "wb")
    silent = os.open(os.devnull, os.O_WRONLY)
    os.dup2(silent, 1)  # a library that prints must not write into the frames
    _limit_memory(memory_bytes)
    try:
        while (asked := read_frame(sys.stdin.buffer)) is not None:
            _limit_cpu(cpu_s)
            about, body = answer(*asked)
            write_frame(out, about, body)
            del asked, about, body  # before the next is read
    except (BrokenFrame, BrokenPipeError):
        pass  # the parent has gone
    # no tidying of libraries that a damaged file may have upset
    os._exit(0)


def _limit_memory(more_bytes: int) -> None:
    try:
        import resource

        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[5])
        # data, not address space: an allocator reserves far more addresses than it uses
        most = pages * resource.getpagesize() + more_bytes
        resource.setrlimit(resource.RLIMIT_DATA, (most, most))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    except (ImportError, OSError, ValueError):
        pass  # another system: the caps of the readers and the parent's clock still hold


def _limit_cpu(seconds: float) -> None:
    try:
        import resource

        used = resource.getrusage(resource.RUSAGE_SELF)
        most = int(used.ru_utime + used.ru_stime + seconds) + 1
        _, hard = resource.getrlimit(resource.RLIMIT_CPU)
        resource.setrlimit(resource.RLIMIT_CPU, (most, hard))
    except (ImportError, OSError, ValueError):
        pass
