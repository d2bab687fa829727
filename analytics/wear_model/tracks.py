"""Visits laid out for filters that go through all pumps' k-th visits at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Generic, NamedTuple, TypeVar

import numpy as np

AT_ONCE = 32768  # values of a state's arrays that go through the visits together: they stay in the cache
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
    step: Callable[[State, np.ndarray, np.ndarray, slice], tuple[State, np.ndarray]],
    *,
    keep: bool = False,
) -> Track[State]:
    """Take all pumps through their visits, in parts of AT_ONCE values, each pump's k-th at once.

    along: (visits,) or (sets, visits), distance or another clock; new: before the first visit, in the tracks'
    order, its arrays of one shape. step(state of m pumps, how far along they are, their rows of `visits`
    (m,), their places in the tracks' order) returns the state after the visit and the log-likelihood of its
    readings.
    """
    shape = _shape(new)
    n, sets = len(tracks.order), int(np.prod(shape[:-1]))
    size = max(AT_ONCE // sets, 1)
    parts: list[Any] = []
    kept: list[list[State]] = [[] for _ in tracks.index] if keep else []
    for first in range(0, n, size):
        end = min(first + size, n)
        state = take(new, slice(first, end))
        run = _Run(state, np.zeros((*along.shape[:-1], end - first)), np.zeros((*shape[:-1], end - first)))
        done = []
        for k, index in enumerate(tracks.index):
            rows = index[first:end]
            if len(rows) < run.at.shape[-1]:  # the others have no further visit
                done.append(take(run, slice(len(rows), None)))
                run = take(run, slice(0, len(rows)))
            if not len(rows):
                break
            state, gained = step(run.state, run.at, rows, slice(first, first + len(rows)))
            run = _Run(state, along[..., rows], run.log_likelihood + gained)
            if keep:
                kept[k].append(state)
        parts += [run, *reversed(done)]
    back = np.empty(n, int)
    back[tracks.order] = np.arange(n)
    last = (
        take(joined(parts), back) if parts else _Run(new, np.zeros((*along.shape[:-1], 0)), np.zeros(shape))
    )
    return Track(last.state, last.at, last.log_likelihood, [joined(states) for states in kept])


def take(state: State, rows: slice | np.ndarray) -> State:
    """Return the pumps `rows` of a state."""
    return _each(lambda a: a[..., rows], state)


def put(state: State, rows: np.ndarray, other: State) -> State:
    """Return a state with the pumps `rows` as in `other`."""

    def change(old: np.ndarray, new: np.ndarray) -> np.ndarray:
        made = np.array(np.broadcast_to(old, (*new.shape[:-1], old.shape[-1])))
        made[..., rows] = new
        return made

    return _each(change, state, other)


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
