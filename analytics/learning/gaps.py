"""What happened after each visit: the gaps between consecutive readings, and whether the pump failed in
them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analytics.past.history import History
from analytics.wear_model.damages import Damages
from analytics.wear_model.failure_risk import Known
from analytics.wear_model.model import Filtered, Parameters
from analytics.wear_model.onsets import Begun
from analytics.wear_model.tracks import Track, joined
from ingest.vocabulary import FOUND_FAILED

FOUND = FOUND_FAILED
# Failures on record from which a fleet's own decide where damage ends a pump: common practice, no source.
ENOUGH_FAILURES = 5
SURE = 8  # power of the chance that a damage has started: .9 weighs .43, .99 weighs .92


@dataclass(frozen=True)
class Gaps:
    """One row per gap. `known` at its start; it is observed from d_from to d_to km beyond that; `failed` at
    its end.

    order_number: visits the pump had had (0: before its first). found: row of FOUND that the strip-down of a
    failed pump showed, -1 where nobody looked.
    """

    known: Known
    pump: np.ndarray
    d_from: np.ndarray
    d_to: np.ndarray
    failed: np.ndarray
    order_number: np.ndarray
    found: np.ndarray

    def take(self, rows: np.ndarray) -> Gaps:
        """Return `rows`."""
        return Gaps(
            self.known.take(rows),
            self.pump[rows],
            self.d_from[rows],
            self.d_to[rows],
            self.failed[rows],
            self.order_number[rows],
            self.found[rows],
        )


def make_gaps(history: History, filtered: Filtered, p: Parameters) -> Gaps:
    """Cut every life into gaps; `filtered` must hold the states after every visit.

    A removal on condition ends the last gap without failure: given the reading that led to it, it tells
    nothing
    more about the pump, so conditioning on the filters' state keeps such removals from biasing the levels.
    """
    pumps = history.pumps
    n = len(pumps)
    order, counts = filtered.tracks.order, filtered.tracks.counts
    x = history.visits["x_km"].to_numpy(float)
    now = pumps["now_km"].to_numpy(float)
    entry = pumps["entry_km"].to_numpy(float)
    failed = pumps["failed"].to_numpy(bool)
    index = filtered.tracks.index
    everyone = np.arange(n)
    next_x = now.copy()
    if index:
        next_x[order[: len(index[0])]] = x[index[0]]
    first = Known.of_new(p.wear, p.drag, p.onsets, filtered.type_code, filtered.exposure)
    parts = [(first, everyone, np.minimum(entry, next_x), next_x, failed & (_count(order, counts, n) == 0))]
    for k, rows in enumerate(index):
        m = len(rows)
        who = order[:m]
        at = x[rows]
        following = now[who].copy()
        if k + 1 < len(index):
            following[: len(index[k + 1])] = x[index[k + 1]]
        states = (*filtered.told.per_visit[k], filtered.begun.per_visit[k], filtered.exposure[who])
        known = Known(at, filtered.type_code[who], *states)
        d_from = np.clip(entry[who] - at, 0, None)
        parts.append(
            (known, who, d_from, np.maximum(following - at, d_from), failed[who] & (counts[:m] == k + 1))
        )
    number = np.concatenate([np.full(len(part[1]), k) for k, part in enumerate(parts)])
    known = joined([part[0] for part in parts])
    pump, d_from, d_to, fail = (np.concatenate([part[i] for part in parts]) for i in (1, 2, 3, 4))
    gaps = Gaps(known, pump, d_from, d_to, fail, number, np.where(fail, _found(pumps)[pump], -1))
    return gaps.take(np.flatnonzero((d_to > d_from) | fail))


def last_gaps(history: History, told: Track[Damages], begun: Begun, type_code: np.ndarray) -> Gaps:
    """Only what came after each pump's last reading, (pumps,), from filters run without their past."""
    pumps, x = history.pumps, told.at
    failed = pumps["failed"].to_numpy(bool)
    d_from = np.clip(pumps["entry_km"].to_numpy(float) - x, 0, None)
    d_to = np.maximum(pumps["now_km"].to_numpy(float) - x, d_from)
    everyone = np.arange(len(pumps))
    known = Known(x, type_code, *told.state, begun, np.ones(len(pumps)))
    return Gaps(known, everyone, d_from, d_to, failed, everyone * 0, np.where(failed, _found(pumps), -1))


def runs_with_damage_counts(gaps: Gaps, failures: int) -> np.ndarray:
    """Return how far each gap counts for where damages end a pump and how often they do, (gaps,) of 1.

    A pump that runs on with damage says that such damage ends pumps later, or is none: true, but a few pumps
    with many gaps would overrule the trade's experience in a fleet without failures to hold against them. So
    a gap with damage that is all but sure counts failures/ENOUGH_FAILURES, at most 1; one without, or with
    damage in doubt, counts in full.
    """
    known = gaps.known
    clear = [state.started**SURE for state in (known.drag, *known.begun)]
    sound = np.prod([1 - there for there in clear], axis=0)
    share = says_itself(failures)
    return np.where(gaps.failed, 1.0, share + (1 - share) * sound)


def says_itself(failures: float) -> float:
    """Return how far a fleet's own failures decide where damage ends a pump, from 0 to 1."""
    return min(failures / ENOUGH_FAILURES, 1.0)


def _found(pumps: pd.DataFrame) -> np.ndarray:
    """Row of FOUND that each pump's strip-down showed, -1 for none, (pumps,)."""
    return pd.Index(FOUND).get_indexer(pd.Index(pumps["found"].astype(object)))


def _count(order: np.ndarray, counts: np.ndarray, n: int) -> np.ndarray:
    out = np.zeros(n, int)
    out[order] = counts
    return out
