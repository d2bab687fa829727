"""Steps that the readings of many pumps take together: another clamp, fuel, or way of reading the volts.

A damage begins in one pump; what begins in nearly all pumps that one clamp reads, or that stand in one depot,
is no pump's own. Of each metric, at the same volts and pressure by the linearised motor, consecutive readings
of a pump in the same state are held against each other. With y = ln(metric),

    y = the pump's own course + step, for what the clamp (or the depot, or the fleet) reads from a day on

A step is taken where the median difference across it lies further than `least` beyond that of all pairs,
further than STANDARD_ERRORS of a median (1.2533 sd / sqrt n, sd from the median absolute deviation), and
nearly all pumps went the same way. The largest comes first, and the rest is looked at anew without it. Only
what no wear does between two visits is taken off; slow drift stays with the pumps. Common practice [P].
"""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple

import numpy as np
import pandas as pd

from analytics.past.normalise import NOMINAL_EXPONENTS, covariates

# ln; no wear does so much between two visits
LEAST = {"mean_a": 0.045, "rpm": 0.03, "ripple_pct": 0.25}
FEWEST_PUMPS = 10
SAME_WAY = 0.85
STANDARD_ERRORS = 5.0
LONGEST_DAYS = 400.0  # between two readings that are held against each other
DAYS = 14.0  # apart are the days tried
NEAR_DAYS = 200.0  # around the day that stands out its very day is looked for
MOST_STEPS = 4  # of one group and metric
TRIED = 8  # days by their means, of which the medians are looked at


class Step(NamedTuple):
    """From `day` (since 1970) on `metric` reads `share` more (-.12: 12 % less) in one group: by `clamp`,
    `depot` or the whole `fleet`, `name`; seen on so many pumps."""

    metric: str
    by: str
    name: str
    day: int
    share: float
    pumps: int


def without_common_steps(visits: pd.DataFrame, pumps: pd.DataFrame) -> tuple[pd.DataFrame, tuple[Step, ...]]:
    """Return visits with the steps taken off their metrics, and the steps.

    visits: pump, day, state, duty_step, low_speed, usable, metrics and covariates, clamp where told, in order
    of pump and time. pumps: depot and what `covariates` needs.
    """
    if len(visits) < 2 * FEWEST_PUMPS:
        return visits, ()
    pump, day = visits["pump"].to_numpy(int), visits["day"].to_numpy(float)
    depot, depots = pd.factorize(pumps["depot"], sort=True)
    named = {"depot": (depot[pump], depots), "fleet": (np.zeros(len(visits), int), pd.Index([""]))}
    if "clamp" in visits:
        named = {"clamp": pd.factorize(visits["clamp"], sort=True)} | named
    groups = {by: _newest_first(*of, day) for by, of in named.items()}
    x = np.nan_to_num(covariates(visits, pumps))
    steps: list[Step] = []
    out = {}
    for metric, least in LEAST.items():
        value = visits[metric].to_numpy(float)
        with np.errstate(invalid="ignore", divide="ignore"):
            y = np.log(value) - x @ NOMINAL_EXPONENTS.get(metric, np.zeros(x.shape[1]))
        pairs = _pairs(visits, np.isfinite(y))
        off, difference = np.zeros(len(visits)), _differences(y, pairs)
        for by, (code, keys) in groups.items():
            for (k, key), near in zip(enumerate(keys), _pairs_of(code, pairs, len(keys)), strict=True):
                found = _steps(difference, pairs, near, day, pump, code == k, least) if len(near) else []
                for since, step, seen in found:
                    off += np.where((code == k) & (day >= since), step, 0.0)
                    steps.append(Step(metric, by, str(key), int(since), float(np.expm1(step)), seen))
                if found:
                    difference = _differences(y - off, pairs)
        if off.any():
            out[metric] = value * np.exp(-off)
    return (visits.assign(**out) if out else visits), tuple(steps)


def _newest_first(code: np.ndarray, keys: pd.Index, day: np.ndarray) -> tuple[np.ndarray, list[object]]:
    """Return each reading's group as a number, -1 for none, and the groups' names: that which reads last for
    the first time first, as a new clamp is held against the old. code: their numbers in `keys`."""
    first = np.full(len(keys), np.inf)
    np.minimum.at(first, code[code >= 0], day[code >= 0])
    order = np.argsort(-first, kind="stable")
    place = np.full(len(keys) + 1, -1)  # the last of them: of none
    place[order] = np.arange(len(keys))
    return place[code], [keys[k] for k in order]


def _pairs_of(code: np.ndarray, pairs: tuple[np.ndarray, np.ndarray], groups: int) -> list[np.ndarray]:
    """Places (of the k pairs), in order, of those that either reading puts in each group."""
    first, second = code[pairs[0]], code[pairs[1]]
    other = np.flatnonzero(first != second)
    place = np.append(np.arange(len(first)), other)
    group = np.append(first, second[other])
    order = np.lexsort((place, group))
    ends = np.searchsorted(group[order], np.arange(groups + 1))
    return [place[order[begin:end]] for begin, end in pairwise(ends)]


def _differences(y: np.ndarray, pairs: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    """From the first reading of each pair to the second, beyond the median of all (k,)."""
    first, second = pairs
    difference = y[second] - y[first]
    return difference - np.median(difference) if len(difference) else difference


def _pairs(visits: pd.DataFrame, told: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rows of a pump's consecutive readings that may be held against each other: first and second, (k,)."""
    row = np.flatnonzero(told & visits["usable"].to_numpy(bool))
    first, second = row[:-1], row[1:]
    gap = visits["day"].to_numpy(float)[second] - visits["day"].to_numpy(float)[first]
    same = (gap > 0) & (gap <= LONGEST_DAYS)
    for name in ("pump", "state", "duty_step", "low_speed"):
        column = visits[name].to_numpy()
        same &= column[first] == column[second]
    return first[same], second[same]


def _steps(
    difference: np.ndarray,
    pairs: tuple[np.ndarray, np.ndarray],
    near: np.ndarray,
    day: np.ndarray,
    pump: np.ndarray,
    mine: np.ndarray,
    least: float,
) -> list[tuple[float, float, int]]:
    """Day, step and number of pumps of each step in one group; near: its pairs, of k; mine: its readings
    (visits,)."""
    if len(near) < FEWEST_PUMPS:
        return []
    first, second, difference = pairs[0][near], pairs[1][near], difference[near]
    # A pair tells of days in (low, high]: its second reading is after the step and its first is not, or the
    # other way round where the group is left again.
    enters = mine[second]
    low = np.where(enters, np.where(mine[first], day[first], -np.inf), -np.inf)
    high = np.where(enters, day[second], day[first])
    sign = np.where(enters, 1.0, -1.0)
    found, spans = [], _Spans(low, high)
    for _ in range(MOST_STEPS):
        best = _best(difference, spans, sign, pump[first], least)
        if best is None:
            break
        found.append(best)
        across = (low < best[0]) & (best[0] <= high)
        difference = difference - np.where(across, sign * best[1], 0.0)
    return found


class _Spans:
    """The days (low, high] that each pair tells of, (k,), in their order once for all sums over them."""

    def __init__(self, low: np.ndarray, high: np.ndarray):
        self.low, self.high = low, high
        self._ends, self._begins = np.argsort(high), np.argsort(low)
        self._high, self._low = high[self._ends], low[self._begins]

    def summed(self, value: np.ndarray, days: np.ndarray) -> np.ndarray:
        """Sum over the pairs across each day."""
        gone = np.append(0.0, np.cumsum(value[self._ends]))[np.searchsorted(self._high, days, side="left")]
        come = np.append(0.0, np.cumsum(value[self._begins]))[np.searchsorted(self._low, days, side="left")]
        return come - gone


def _best(
    difference: np.ndarray,
    spans: _Spans,
    sign: np.ndarray,
    pump: np.ndarray,
    least: float,
) -> tuple[float, float, int] | None:
    """The day whose step stands out most, its size and number of pumps; None where none does."""
    signed = np.clip(sign * difference, -1.0, 1.0)
    days = np.unique(np.ceil(spans.high / DAYS) * DAYS)
    count = spans.summed(np.ones(len(signed)), days)
    mean = spans.summed(signed, days) / np.maximum(count, 1.0)
    likely = np.flatnonzero((count >= FEWEST_PUMPS) & (np.abs(mean) > least / 2))
    likely = likely[np.argsort(-np.abs(mean[likely]) * np.sqrt(count[likely]))][:TRIED]
    best, most = None, STANDARD_ERRORS
    for at in days[likely]:
        across = (spans.low < at) & (at <= spans.high)
        moved = signed[across]
        step = float(np.median(moved))
        if not abs(step) > least:
            continue
        spread = 1.4826 * float(np.median(np.abs(moved - step)))
        clear = abs(step) / max(1.2533 * spread / np.sqrt(len(moved)), 1e-6)
        if not (clear > most and np.mean(np.sign(moved) == np.sign(step)) >= SAME_WAY):
            continue
        seen = len(np.unique(pump[across]))
        if seen >= FEWEST_PUMPS:
            best, most = (float(at), step, seen), clear
    if best is None:
        return None
    at, step, seen = best
    return _day_of(at, step, signed, spans), step, seen


def _day_of(at: float, step: float, signed: np.ndarray, spans: _Spans) -> float:
    """The reading's day near `at` from which the step leaves the least absolute rest."""
    days = np.unique(spans.high[np.abs(spans.high - at) <= NEAR_DAYS])
    more = np.abs(signed - step) - np.abs(signed)  # rest of a pair across the step, over that of another
    return float(days[np.argmin(spans.summed(more, days))])
