"""A budget's year drawn again and again by the chances of its rows: what any sum of rows may come to.

Each place's pump lives as its forecast says; a planned change follows with its chance where the pump lives to
see it; a new pump follows a change and a failure. Beyond the plan's horizon failures are left out with the
share that the rule spares, and changes come at its rate. One draw of the fleet's life moves every pump of a
draw alike, so that sums of months and depots hold what these share.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from analytics.money.decision import curve_at

DRAWS = 1000
AT_ONCE = 100  # places
LIVES = 6  # that one place may see within the year


@dataclass(frozen=True)
class Places:
    """n places for a pump, days from the budget's first.

    grid_km (m,); survival, new (n, m): of the pump in place and of a new one; rate (n,): km a day; until
    (n,): the day from which nothing is spent; changed_on, p_change (n,): its planned change, as
    budget._planned; planned, failure (n,): prices; depot (n,): index of the depot.
    """

    grid_km: np.ndarray
    survival: np.ndarray
    new: np.ndarray
    rate: np.ndarray
    until: np.ndarray
    changed_on: np.ndarray
    p_change: np.ndarray
    planned: np.ndarray
    failure: np.ndarray
    depot: np.ndarray


def draw(
    places: Places,
    edges: np.ndarray,
    horizon_days: float,
    changes_per_km: float,
    failures_left: float,
    life_sd: float,
) -> np.ndarray:
    """Return money of each draw by month and depot, (DRAWS, months, depots); edges (months + 1,), in days.

    life_sd: standard error of the fleet's ln life.
    """
    rng = np.random.default_rng(17)
    months, depots = len(edges) - 1, int(places.depot.max(initial=-1)) + 1
    # The shared life at the middles of equal parts of its chance, in an order of chance.
    longer = np.exp(life_sd * rng.permutation(special.ndtri((np.arange(DRAWS) + 0.5) / DRAWS)))
    kinds, kind = np.unique(places.new, axis=0, return_inverse=True)
    cells = np.zeros(DRAWS * months * depots)

    def spend(row: np.ndarray, turn: np.ndarray, day: np.ndarray, price: np.ndarray) -> None:
        month = np.searchsorted(edges, day, side="right") - 1
        inside = (month >= 0) & (month < months)
        at = (turn[inside] * months + month[inside]) * depots + places.depot[row[inside]]
        cells[:] += np.bincount(at, price[inside], len(cells))

    for rows in np.array_split(np.arange(len(places.rate)), max(1, -(-len(places.rate) // AT_ONCE))):
        rate, until = places.rate[rows, None], places.until[rows, None]
        fails = _lived(places.grid_km, places.survival[rows], rng.random((len(rows), DRAWS))) * longer
        with np.errstate(divide="ignore"):
            fails = np.where(rate > 0, fails / rate, np.inf)
        on = places.changed_on[rows, None]
        alive = sees_its_change(
            places.grid_km, places.survival[rows], places.rate[rows], places.changed_on[rows]
        )[:, None]
        changed = (
            (rng.random(fails.shape) * alive < places.p_change[rows, None]) & (fails > on) & (on < until)
        )
        row, turn = (x.ravel() for x in np.broadcast_arrays(rows[:, None], np.arange(DRAWS)[None, :]))
        done = changed.ravel()
        spend(row[done], turn[done], places.changed_on[row[done]], places.planned[row[done]])
        # From here on a list of the pumps that can still fail within the year: (place, draw, day it fails).
        first = fails.ravel()
        born = np.where(done, places.changed_on[row], 0.0)
        for life in range(LIVES):
            anew = done if life == 0 else np.ones(len(row), bool)
            day = first if life == 0 else np.full(len(row), np.inf)
            fresh = np.flatnonzero(anew & (places.rate[row] > 0))
            lived = _of_kinds(places.grid_km, kinds, kind[row[fresh]], rng) * longer[turn[fresh]]
            day[fresh] = born[fresh] + lived / places.rate[row[fresh]]
            dies = day < np.minimum(places.until[row], edges[-1])
            row, turn, born = row[dies], turn[dies], day[dies]
            first_later = edges[np.clip(np.searchsorted(edges, born, side="right") - 1, 0, months)]
            counts = (first_later < horizon_days) | (rng.random(len(row)) < failures_left)
            spend(row[counts], turn[counts], born[counts], places.failure[row[counts]])
            if not len(row):
                break
    out = cells.reshape(DRAWS, months, depots)
    days = np.clip(np.minimum(edges[1:], places.until[:, None]) - edges[:-1], 0.0, None)
    days[:, edges[:-1] < horizon_days] = 0.0
    expected = days * places.rate[:, None] * changes_per_km
    for j in range(depots):
        mine = places.depot == j
        number = expected[mine].sum(axis=0)
        money = (expected[mine] * places.planned[mine, None]).sum(axis=0)
        out[:, :, j] += rng.poisson(number, (DRAWS, months)) * money / np.maximum(number, 1e-12)
    return out


def sees_its_change(
    grid_km: np.ndarray, survival: np.ndarray, rate: np.ndarray, changed_on: np.ndarray
) -> np.ndarray:
    """Return the chance (n,) of each pump to live until the day of its planned change; 1 where none is."""
    day = np.where(np.isfinite(changed_on), changed_on, 0.0)
    return np.maximum(curve_at(survival, grid_km, day * rate), 1e-9)


def _lived(grid_km: np.ndarray, survival: np.ndarray, u: np.ndarray) -> np.ndarray:
    """Return the distance (n, draws) at which each curve (n, m) falls to u; infinite beyond the grid."""
    km = np.array([np.interp(x, s[::-1], grid_km[::-1]) for x, s in zip(u, survival, strict=True)])
    return np.where(u < survival[:, -1:], np.inf, km)


def _of_kinds(
    grid_km: np.ndarray, kinds: np.ndarray, kind: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    """Return a life drawn for each of `kind` (k,), rows of the curves `kinds`."""
    u, out = rng.random(len(kind)), np.empty(len(kind))
    for j in np.unique(kind):
        mine = kind == j
        out[mine] = _lived(grid_km, kinds[j : j + 1], u[None, mine])[0]
    return out
