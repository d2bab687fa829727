"""Visits laid out for filters that go through all pumps' k-th visits at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Tracks:
    """Usable visits by order number: pumps sorted by number of visits, most first.

    order: (n,) row of each pump in the history; counts: (n,) its visits; index: for each k the rows of
    `visits` of the first counts-many pumps that have a k-th visit.
    """

    order: np.ndarray
    counts: np.ndarray
    index: list[np.ndarray]


def make_tracks(pump: np.ndarray, usable: np.ndarray, n_pumps: int) -> Tracks:
    """Lay out visits; `pump` (m,) sorted row numbers, `usable` (m,) bool."""
    rows = np.flatnonzero(usable)
    counts = np.bincount(pump[rows], minlength=n_pumps)
    order = np.argsort(-counts, kind="stable")
    starts = np.concatenate([[0], np.cumsum(counts)[:-1]])
    index = []
    for k in range(int(counts.max(initial=0))):
        having = order[: int(np.count_nonzero(counts > k))]
        index.append(rows[starts[having] + k])
    return Tracks(order, counts[order], index)
