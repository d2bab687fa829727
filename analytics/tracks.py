"""Visits laid out for filters that go through all pumps' k-th visits at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np

State = TypeVar("State", bound=tuple[Any, ...])  # named tuple of arrays (..., pumps), or of such tuples


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


def run_over(
    tracks: Tracks, state: State, step: Callable[[State, np.ndarray], State], *, keep: bool = False
) -> tuple[State, list[State]]:
    """Take all pumps through their visits, each pump's k-th at once.

    state: before the first visit, in the tracks' order; step(state of the first m pumps, their rows of
    `visits` (m,)) returns it after the visit. Returns the state after each pump's last visit in the history's
    order, and, if asked for, those after each k-th visit, as in Tracks.index.
    """
    done, kept = [], []
    for rows in tracks.index:
        done.append(take(state, slice(len(rows), None)))
        state = step(take(state, slice(0, len(rows))), rows)
        if keep:
            kept.append(state)
    back = np.empty(len(tracks.order), int)
    back[tracks.order] = np.arange(len(back))
    return take(joined([state, *reversed(done)]), back), kept


def take(state: State, rows: slice | np.ndarray) -> State:
    """Return the pumps `rows` of a state."""
    return _each(lambda a: a[..., rows], state)


def spread(state: State, shape: tuple[int, ...]) -> State:
    """Return a state with all its arrays of one shape."""
    return _each(lambda a: np.broadcast_to(a, shape), state)


def _each(change: Callable[..., np.ndarray], *states: State) -> State:
    made = (_each(change, *a) if isinstance(a[0], tuple) else change(*a) for a in zip(*states, strict=True))
    return type(states[0])(*made)


def joined(states: list[State]) -> State:
    """Return the pumps of all states, one state after the other."""
    return _each(lambda *parts: np.concatenate(parts, axis=-1), *states)
