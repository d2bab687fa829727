"""Visits laid out for filters that go through all pumps' k-th visits at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Generic, NamedTuple, TypeVar

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


@dataclass(frozen=True)
class Track(Generic[State]):
    """What a filter knows after each pump's last visit.

    state: (n,) or (sets, n); at: how far along it lay, by the clock `run_over` was given (0: no visit);
    log_likelihood: of all its readings; per_visit: states after each k-th visit, as in Tracks.index, if asked
    for.
    """

    state: State
    at: np.ndarray
    log_likelihood: np.ndarray
    per_visit: list[State]


class _Run(NamedTuple):
    state: Any
    at: np.ndarray
    log_likelihood: np.ndarray


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
    tracks: Tracks,
    along: np.ndarray,
    new: State,
    step: Callable[[State, np.ndarray, np.ndarray], tuple[State, np.ndarray]],
    *,
    keep: bool = False,
) -> Track[State]:
    """Take all pumps through their visits, each pump's k-th at once.

    along: (visits,) or (sets, visits), distance or another clock; new: before the first visit, in the tracks'
    order, its arrays of one shape. step(state of the first m pumps, how far along they are, their rows of
    `visits` (m,)) returns the state after the visit and the log-likelihood of its readings.
    """
    n = len(tracks.order)
    run = _Run(new, np.zeros((*along.shape[:-1], n)), np.zeros(_shape(new)))
    done, kept = [], []
    for rows in tracks.index:
        done.append(take(run, slice(len(rows), None)))
        run = take(run, slice(0, len(rows)))
        state, gained = step(run.state, run.at, rows)
        run = _Run(state, along[..., rows], run.log_likelihood + gained)
        if keep:
            kept.append(state)
    back = np.empty(len(tracks.order), int)
    back[tracks.order] = np.arange(len(back))
    last = take(joined([run, *reversed(done)]), back)
    return Track(last.state, last.at, last.log_likelihood, kept)


def take(state: State, rows: slice | np.ndarray) -> State:
    """Return the pumps `rows` of a state."""
    return _each(lambda a: a[..., rows], state)


def spread(state: State, shape: tuple[int, ...]) -> State:
    """Return a state with all its arrays of one shape."""
    return _each(lambda a: np.broadcast_to(a, shape), state)


def _shape(state: State) -> tuple[int, ...]:
    first = state[0]
    return _shape(first) if isinstance(first, tuple) else first.shape


def _each(change: Callable[..., np.ndarray], *states: State) -> State:
    made = (_each(change, *a) if isinstance(a[0], tuple) else change(*a) for a in zip(*states, strict=True))
    return type(states[0])(*made)


def joined(states: list[State]) -> State:
    """Return the pumps of all states, one state after the other."""
    return _each(lambda *parts: np.concatenate(parts, axis=-1), *states)
