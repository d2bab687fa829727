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
    Near a vehicle's retirement nothing comes after: a change then costs its price and what a new pump may yet
    fail there, and distance earns nothing.
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

    ends = ahead.last_km < 0.5 * lived_km(grid_km, of_new)[:, -1]
    if ends.any():
        last = np.where(ends, ahead.last_km, 0.0)
        fails_new = fail * (1 - curve_at(of_new, grid_km, last))
        for k in range(3):
            keep[:, k] = np.where(ends, _fails_by(survival, grid_km, span[:, k], last) * fail, keep[:, k])
        keep_sound = np.where(ends, _fails_by(sound, grid_km, span[:, 2], last) * fail, keep_sound)
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
        risk, span, open_at, keep, np.minimum(keep_sound, keep[:, NEXT_STOP]), beside, cost_per_km
    ), work


def cause_beside(risk: np.ndarray, risk_if_sound: np.ndarray, share: float | np.ndarray) -> np.ndarray:
    """Return the chance that a cause beside the pump explains the readings that carry its risk, (n,).

    `share` of odd readings are explained so. A reading is odd as far as it lifts the risk above that of a
    pump of its age, by the square of the share lifted: small lifts are the scatter of readings. With the
    risk right on average, risk = (1 − q)·(at most 1) + q·risk_if_sound bounds q.
    """
    odd = 1 - np.minimum(risk_if_sound / np.maximum(risk, 1e-9), 1.0)
    most = np.clip((1 - risk) / np.maximum(1 - risk_if_sound, 1e-9), 0, 1)
    return np.minimum(share * odd**2, most)


def _fails_by(survival: np.ndarray, grid: np.ndarray, start: np.ndarray, last: np.ndarray) -> np.ndarray:
    """Chance that a pump that runs at `start` fails by `last`."""
    there = np.maximum(curve_at(survival, grid, start), 1e-9)
    return np.clip(1 - curve_at(survival, grid, np.maximum(last, start)) / there, 0, 1)
