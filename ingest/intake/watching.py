"""A folder watched by looking again, as shares tell of no changes: what has come to rest is ready."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from ingest.readers.text import ends_early

REST_S = 3.0
# [P] of a text that stops inside a line or before all the samples that its header speaks of, as a copy does
# that a slow share holds up
CUT_OFF_REST_S = 30.0
TEXTS = (".csv", ".txt", ".tsv", ".asc")
Seen = tuple[int, int]  # size, time of writing in ns


class Watch:
    """Which files of a folder are ready: size and time the same for REST_S, and not yet taken as they are.

    A text that stops inside a line, or holds fewer samples than its header speaks of, may still be on its
    way, and rests for CUT_OFF_REST_S.
    """

    def __init__(self) -> None:
        self._since: dict[Path, tuple[Seen, float]] = {}
        self._taken: dict[Path, Seen] = {}
        self._early: dict[Path, tuple[Seen, bool]] = {}

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
            elif status.st_size and self._rested(path, seen, now_s - before[1]):
                out.append(path)
        return out

    def _rested(self, path: Path, seen: Seen, rest_s: float) -> bool:
        if not REST_S <= rest_s < CUT_OFF_REST_S:
            return rest_s >= CUT_OFF_REST_S
        if path not in self._early or self._early[path][0] != seen:  # it takes reading the file
            self._early[path] = (seen, path.suffix.lower() in TEXTS and ends_early(path))
        return not self._early[path][1]

    def taken(self, path: Path) -> None:
        """Note that a file was taken as it was last seen; it is ready again only once it changes."""
        self._early.pop(path, None)
        seen = self._since.pop(path, None)
        if seen is not None:
            self._taken[path] = seen[0]
