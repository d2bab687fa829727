"""The ranking kept in memory, so that pages of large fleets come up at once.

A small fleet is ranked anew whenever its ledger has changed. For a large one the last ranking is shown
while the new one is worked out in the background, and the page says so.
"""

from __future__ import annotations

import logging
import threading
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

import pandas as pd

log = logging.getLogger(__name__)
LARGE = 5_000  # pumps from which a ranking takes seconds


@dataclass(frozen=True)
class Ranked:
    """One ranking; `stamp` is the state of the ledger that it shows."""

    stamp: tuple[int, ...]
    pumps: pd.DataFrame
    made_at: datetime


@dataclass
class RankingStore:
    """The newest ranking of one ledger."""

    ledger: Path
    newest: Ranked | None = None
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _worker: threading.Thread | None = None

    def get(self, stamp: tuple[int, ...]) -> Ranked:
        """Return the ranking for this state of the ledger; for a large fleet the last one, being renewed."""
        kept = self.newest
        if kept is not None and kept.stamp == stamp:
            return kept
        if kept is not None and len(kept.pumps) >= LARGE:
            self._renew_in_background(stamp)
            return kept
        with self._lock:
            kept = self.newest
            if kept is None or kept.stamp != stamp:
                kept = self._rank(stamp)
            return kept

    def _rank(self, stamp: tuple[int, ...]) -> Ranked:
        from analytics.ranking import rank

        pumps = rank(self.ledger).sort_values("risk", ascending=False, ignore_index=True)
        self.newest = Ranked(stamp, pumps, datetime.now())
        return self.newest

    def _renew_in_background(self, stamp: tuple[int, ...]) -> None:
        if self._worker is not None and self._worker.is_alive():
            return

        def work() -> None:
            try:
                with self._lock:
                    self._rank(stamp)
            except Exception:
                log.exception("ranking in the background failed")

        self._worker = threading.Thread(target=work, daemon=True, name="ranking")
        self._worker.start()
