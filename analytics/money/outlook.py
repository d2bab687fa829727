"""From forecast curves to what a decision rests on: risks until each time, what keeping costs, what a check
may find."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analytics.money.decision import NEXT_STOP, Outlook, Work, curve_at, keep_cost, lived_km


@dataclass(frozen=True)
class Ahead:
    """Where the stops of n pumps lie, all (n,), km on the pump's own clock.

    to_extra_km, to_stop_km: distance to an extra stop and to the next planned one; interval_km: between
    planned stops; in_bay, may_extra: bool, whether it stands in the bay now, and may get a stop of its own;
    last_km: distance to the vehicle's retirement, infinity where none is laid down.
    """

    to_extra_km: np.ndarray
    to_stop_km: np.ndarray
    interval_km: np.ndarray
    in_bay: np.ndarray
    may_extra: np.ndarray
    last_km: np.ndarray


def outlook_of(
    grid_km: np.ndarray,
    survival: np.ndarray,
    by_age: np.ndarray,
    of_new: np.ndarray,
    ahead: Ahead,
    work: Work,
    cost_per_km: np.ndarray,
    beside_share: float | np.ndarray,
) -> tuple[Outlook, Work]:
    """Return the outlook of n pumps, and the work's prices as the decision takes them.

    grid_km (m,) from today; survival, by_age, of_new (n, m): of the pump as read, of one of its age that was
    never read, of a new one. beside_share: how often an odd reading is explained by a cause beside the pump.
    Near a vehicle's retirement nothing comes after: distance earns nothing, a change costs its price and what
    a new pump may yet fail there, and what is kept may be changed at a later stop, or never (`keep_to_end`).
    """
    n = len(survival)
    zero = np.zeros(n)
    span = np.stack([zero, ahead.to_extra_km, ahead.to_stop_km], axis=1)
    least = np.stack(
        [ahead.to_stop_km, np.maximum(ahead.to_stop_km - ahead.to_extra_km, 0), ahead.interval_km], 1
    )
    sound = np.maximum(survival, by_age)
    change, fail = (np.broadcast_to(x, n).astype(float) for x in (work.change, work.fail))
    keep = np.stack(
        [
            keep_cost(grid_km, survival, span[:, k], least[:, k], change, fail, cost_per_km)
            for k in range(3)
        ],
        axis=1,
    )  # fmt: skip
    keep_sound = keep_cost(grid_km, sound, ahead.to_stop_km, ahead.interval_km, change, fail, cost_per_km)
    left_to_fail = fail - cost_per_km * lived_km(grid_km, survival)[:, -1]

    ends = ahead.last_km < 0.5 * lived_km(grid_km, of_new)[:, -1]
    if ends.any():
        last = np.where(ends, ahead.last_km, 0.0)
        fails_new = fail * (1 - curve_at(of_new, grid_km, last))
        left_to_fail = np.where(ends, fail * (1 - curve_at(survival, grid_km, last)), left_to_fail)
        near = [x[ends] for x in (survival, sound, of_new, span, least, last, change, fail)]
        alive, well, new, start, then, until, dear, broken = near
        for k in range(3):
            keep[ends, k] = keep_to_end(grid_km, alive, new, start[:, k], then[:, k], until, dear, broken)
        keep_sound[ends] = keep_to_end(
            grid_km, well, new, start[:, NEXT_STOP], then[:, NEXT_STOP], until, dear, broken
        )
        cost_per_km = np.where(ends, 0.0, cost_per_km)
        planned = np.where(ends, work.planned + fails_new, work.planned)
        failure = np.where(ends, work.failure + fails_new, work.failure)
        work = replace(work, planned=planned, failure=failure)

    risk = np.stack([1 - curve_at(survival, grid_km, span[:, k]) for k in range(3)], axis=1)
    until = ahead.to_stop_km + ahead.interval_km
    beside = cause_beside(
        1 - curve_at(survival, grid_km, until), 1 - curve_at(sound, grid_km, until), beside_share
    )
    reached = span[:, NEXT_STOP] < ahead.last_km
    open_at = np.stack(
        [ahead.in_bay, ahead.may_extra & (span[:, 1] < span[:, NEXT_STOP]) & reached, reached], axis=1
    )
    return Outlook(
        risk, span, open_at, keep, np.minimum(keep_sound, keep[:, NEXT_STOP]), beside, cost_per_km,
        left_to_fail=left_to_fail,
    ), work  # fmt: skip


def cause_beside(risk: np.ndarray, risk_if_sound: np.ndarray, share: float | np.ndarray) -> np.ndarray:
    """Return the chance that a cause beside the pump explains the readings that carry its risk, (n,).

    `share` of odd readings are explained so. A reading is odd as far as it lifts the risk above that of a
    pump of its age, by the square of the share lifted: small lifts are the scatter of readings. With the
    risk right on average, risk = (1 − q)·(at most 1) + q·risk_if_sound bounds q.
    """
    odd = 1 - np.minimum(risk_if_sound / np.maximum(risk, 1e-9), 1.0)
    most = np.clip((1 - risk) / np.maximum(1 - risk_if_sound, 1e-9), 0, 1)
    return np.minimum(share * odd**2, most)


def keep_to_end(
    grid_km: np.ndarray,
    survival: np.ndarray,
    of_new: np.ndarray,
    from_km: np.ndarray,
    least_km: np.ndarray,
    last_km: np.ndarray,
    change: np.ndarray,
    fail: np.ndarray,
) -> np.ndarray:
    """Return what a pump that runs at `from_km` costs until its vehicle goes at `last_km`, (n,), money.

    The least of leaving it to fail and of a change at d, on the grid (m,) and at least `least_km` on:
    Cf·F(d) + Cp·S(d) + Cf·F_new(last − d), F and S given that it runs at `from_km`; survival and of_new
    (n, m) from today and from new. The new pump's distance is counted from `from_km`, as that of a change
    there is in `outlook_of`.
    """
    runs = np.maximum(curve_at(survival, grid_km, from_km), 1e-9)
    never = np.clip(1 - curve_at(survival, grid_km, np.maximum(last_km, from_km)) / runs, 0, 1) * fail
    first = (from_km + least_km)[:, None]
    day = np.maximum(grid_km[None, :], first)
    there = np.minimum(curve_at(survival, grid_km, day) / runs[:, None], 1.0)
    left = np.maximum(last_km[:, None] - (day - from_km[:, None]), 0.0)
    fails_new = 1 - curve_at(of_new, grid_km, left)
    later = fail[:, None] * (1 - there + fails_new) + there * change[:, None]
    later = np.where(day < last_km[:, None], later, np.inf)
    return np.asarray(np.minimum(never, later.min(axis=1)))
