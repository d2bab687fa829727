"""A folder watched by looking again, as shares tell of no changes: what has come to rest is ready."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

REST_S = 3.0
Seen = tuple[int, int]  # size, time of writing in ns


class Watch:
    """Which files of a folder are ready: size and time the same for REST_S, and not yet taken as they are."""

    def __init__(self) -> None:
        self._since: dict[Path, tuple[Seen, float]] = {}
        self._taken: dict[Path, Seen] = {}

    def ready(self, paths: Iterable[Path], now_s: float) -> list[Path]:
        """Look at the files once, at a time told by a clock that only goes on; returns those to take now."""
        out = []
        for path in paths:
            try:
                status = path.stat()
            except OSError:
                self._since.pop(path, None)
                continue
            seen = (status.st_size, status.st_mtime_ns)
            if self._taken.get(path) == seen:
                continue
            before = self._since.get(path)
            if before is None or before[0] != seen:
                self._since[path] = (seen, now_s)
            elif now_s - before[1] >= REST_S and status.st_size:
                out.append(path)
        return out

    def taken(self, path: Path) -> None:
        """Note that a file was taken as it was last seen; it is ready again only once it changes."""
        seen = self._since.pop(path, None)
        if seen is not None:
            self._taken[path] = seen[0]
