"""A folder watched by looking again, as shares tell of no changes: what has come to rest is ready."""

from __future__ import annotations

from collections.abc import Iterable
from os import SEEK_END
from pathlib import Path

REST_S = 3.0
CUT_OFF_REST_S = 30.0  # [P] of a text that stops inside a line, as a copy does that a slow share holds up
TEXTS = (".csv", ".txt", ".tsv", ".asc")
Seen = tuple[int, int]  # size, time of writing in ns


class Watch:
    """Which files of a folder are ready: size and time the same for REST_S, and not yet taken as they are.

    A text that stops inside a line may still be on its way, and rests for CUT_OFF_REST_S.
    """

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
            elif status.st_size and now_s - before[1] >= (CUT_OFF_REST_S if _cut_off(path) else REST_S):
                out.append(path)
        return out

    def taken(self, path: Path) -> None:
        """Note that a file was taken as it was last seen; it is ready again only once it changes."""
        seen = self._since.pop(path, None)
        if seen is not None:
            self._taken[path] = seen[0]


def _cut_off(path: Path) -> bool:
    """Return whether a text lacks the end of its last line; False of other files and what can't be seen."""
    if path.suffix.lower() not in TEXTS:
        return False
    try:
        with path.open("rb") as file:
            file.seek(-2, SEEK_END)
            return not file.read().rstrip(b"\0").endswith((b"\r", b"\n"))  # a zero byte is half of UTF-16
    except OSError:
        return False
