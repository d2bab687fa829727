"""Odometer readings of a fleet, judged by each unit's own mileage: typos, unit slips, restarts.

Readings are never changed here, only judged. Dates may be a week or so off: every comparison allows for it.
The judgement of a unit is the longest chain of its readings that could all be true (later is farther, and
not faster than the unit drives); what lies off the chain is doubted, and explained where a slip explains it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from ingest.trade_numbers import KM_PER_DAY
from ingest.units import KM_PER_MILE

# Allowed slack of the dates, and how far above its own usual rate a unit may drive (common practice, no
# source).
LOOSE_DAYS = 7.0
SLACK_DAYS = 30.0
FASTER = 4.0
# No vehicle averages more over weeks, two drivers taking turns (common practice, no source).
MOST_KM_PER_DAY = 1_500.0
# A step by so much more than the unit drives, after which it drives on as before, is none that was driven.
STEP_KM, STEP_TIMES = 50_000.0, 2.5


@dataclass(frozen=True)
class Doubt:
    """What may be wrong with one reading. `likely_km` is what it would be then (NaN: can't be told)."""

    code: str
    likely_km: float = float("nan")


def clean(readings: pd.DataFrame) -> pd.DataFrame:
    """Judge all readings of a fleet at once.

    readings: columns unit, read_on (datetime64), odometer_km, optionally odometer_entered (as typed; digit
    slips are sought in it) and confirmed (a person vouched for it). Any order, any index; blank values are
    trusted.
    Returns, on the same index: trusted (bool), code ("" or odometer-below-last, odometer-too-far,
    odometer-kilometres, odometer-miles, odometer-digit, odometer-restarted), likely_km and km_per_day (the
    unit's usual rate).
    """
    out = pd.DataFrame(
        {"trusted": True, "code": "", "likely_km": np.nan, "km_per_day": np.nan}, readings.index
    )
    usable = np.flatnonzero((readings["odometer_km"].notna() & readings["read_on"].notna()).to_numpy())
    if not len(usable):
        return out
    rows = _of_fleet(readings, usable)
    _judge(rows)
    code, likely_km = _explain(rows)
    for name, values in (
        ("trusted", rows.trusted),
        ("code", code),
        ("likely_km", likely_km),
        ("km_per_day", rows.km_per_day),
    ):
        column = out[name].to_numpy().copy()
        column[rows.origin] = values
        out[name] = column
    return out


@dataclass
class _Rows:
    """Usable readings by unit, day and odometer: where each stands in the table that came, and what is known
    of it. Plain arrays, for a visit asks this of some ten readings while others wait for the ledger."""

    origin: np.ndarray
    unit: np.ndarray  # numbers from 0 on, in order
    day: np.ndarray  # days since 1970
    km: np.ndarray
    entered: np.ndarray
    sure: np.ndarray
    km_per_day: np.ndarray
    cap: np.ndarray
    trusted: np.ndarray


def _of_fleet(readings: pd.DataFrame, usable: np.ndarray) -> _Rows:
    def of(name: str, dtype: type) -> np.ndarray | None:
        return readings[name].to_numpy(dtype=dtype)[usable] if name in readings else None

    units, _ = pd.factorize(readings["unit"].to_numpy()[usable], sort=True)
    day = readings["read_on"].to_numpy(dtype="datetime64[D]")[usable]
    km = readings["odometer_km"].to_numpy(dtype=float)[usable]
    return _in_order(usable, units, day, km, of("odometer_entered", float), of("confirmed", bool))


def _in_order(
    origin: np.ndarray,
    unit: np.ndarray,
    day: np.ndarray,
    km: np.ndarray,
    entered: np.ndarray | None = None,
    sure: np.ndarray | None = None,
) -> _Rows:
    """Sort readings; day: datetime64[D]. entered: default km; sure: default none."""
    order = np.lexsort((km, day, unit))
    count = len(order)
    return _Rows(
        origin=origin[order],
        unit=unit[order],
        day=day[order].astype("int64"),
        km=km[order],
        entered=(km if entered is None else entered)[order],
        sure=np.zeros(count, bool) if sure is None else sure[order],
        km_per_day=np.zeros(count),
        cap=np.zeros(count),
        trusted=np.ones(count, bool),
    )


def _judge(rows: _Rows) -> None:
    """Say of each reading what its unit drives a day, at the most, and whether it is trusted."""
    units, slopes = _slopes(rows)
    rows.km_per_day = _usual_rates(rows, units, slopes)[rows.unit]
    rows.cap = np.maximum(FASTER * rows.km_per_day, _fast_rates(rows, units, slopes)[rows.unit])
    rows.trusted = _longest_chains(rows)
    _doubt_steps(rows)
    _doubt_last(rows)


def _slopes(rows: _Rows) -> tuple[np.ndarray, np.ndarray]:
    """Units in order, and km a day between readings one to three apart, rising within each, as far as a
    vehicle can drive; at least LOOSE_DAYS apart, or the slope says nothing."""
    found, steep = [], []
    for lag in (1, 2, 3):
        same = rows.unit[lag:] == rows.unit[:-lag]
        days = (rows.day[lag:] - rows.day[:-lag])[same]
        slope = (rows.km[lag:] - rows.km[:-lag])[same] / np.maximum(days, LOOSE_DAYS)
        keep = (slope > 0) & (slope <= MOST_KM_PER_DAY) & (days >= LOOSE_DAYS)
        found.append(rows.unit[lag:][same][keep])
        steep.append(slope[keep])
    units, slopes = np.concatenate(found), np.concatenate(steep)
    order = np.lexsort((slopes, units))
    return units[order], slopes[order]


def _quantile(units: np.ndarray, slopes: np.ndarray, share: float) -> tuple[np.ndarray, np.ndarray]:
    """Units that have slopes, and this quantile of each one's, between neighbours in proportion; of what
    `_slopes` returns."""
    starts = np.flatnonzero(np.r_[True, units[1:] != units[:-1]][: len(units)])
    place = starts + share * (np.diff(np.r_[starts, len(units)]) - 1)
    below = np.floor(place).astype(int)
    above = np.ceil(place).astype(int)
    return units[starts], slopes[below] + (place - below) * (slopes[above] - slopes[below])


def _usual_rates(rows: _Rows, units: np.ndarray, slopes: np.ndarray) -> np.ndarray:
    """Median slope per unit; a unit without one takes the fleet's median, else a default."""
    units, medians = _quantile(units, slopes, 0.5)
    fleet = float(np.median(medians)) if len(medians) >= 3 else KM_PER_DAY
    rates = np.full(rows.unit[-1] + 1, float(fleet))
    rates[units] = np.maximum(medians, 0.02 * fleet)
    return rates


def _fast_rates(rows: _Rows, units: np.ndarray, slopes: np.ndarray) -> np.ndarray:
    """Twice the upper quartile of a unit's slopes: what an unsteady unit has driven before."""
    units, upper = _quantile(units, slopes, 0.75)
    rates = np.zeros(rows.unit[-1] + 1)
    rates[units] = 2 * upper
    return rates


def _longest_chains(rows: _Rows) -> np.ndarray:
    """Mark the readings on each unit's longest chain of readings that can all be true.

    A reading that was vouched for may be as far ahead as it likes.
    """
    trusted = np.zeros(len(rows.unit), dtype=bool)
    starts = np.flatnonzero(np.r_[True, rows.unit[1:] != rows.unit[:-1]])
    sizes = np.diff(np.r_[starts, len(rows.unit)])
    for size in np.unique(sizes):  # units with equally many readings go together
        at = starts[sizes == size][:, None] + np.arange(size)
        day, km = rows.day[at], rows.km[at]
        rate, cap = rows.km_per_day[at[:, :1]], rows.cap[at[:, :1]]
        sure = rows.sure[at]
        best, back = np.ones(at.shape), np.full(at.shape, -1)
        for j in range(1, size):
            driven, days = km[:, j : j + 1] - km[:, :j], day[:, j : j + 1] - day[:, :j]
            in_time = (driven <= cap * (days + SLACK_DAYS)) | sure[:, :j] | sure[:, j : j + 1]
            possible = (driven >= -LOOSE_DAYS * rate) & in_time
            score = np.where(possible, best[:, :j], 0.0)
            before = score.argmax(axis=1)
            gain = score[np.arange(len(at)), before]
            best[:, j] += gain
            back[:, j] = np.where(gain > 0, before, -1)
        here = best.argmax(axis=1)
        unit = np.arange(len(at))
        while len(unit):
            trusted[at[unit, here]] = True
            here = back[unit, here]
            unit, here = unit[here >= 0], here[here >= 0]
    return trusted


def _doubt_steps(rows: _Rows) -> None:
    """Doubt what shares a step that nobody drove: the side with fewer readings, else the later one.

    A step that stays comes into reach as the days pass; the reading right after it can't make the later ones
    credible.
    """
    day, km, rate, codes, sure = rows.day, rows.km, rows.km_per_day, rows.unit, rows.sure
    marks = rows.trusted
    trusted = np.flatnonzero(marks)
    before, after = trusted[:-1], trusted[1:]
    driven, days = km[after] - km[before], day[after] - day[before]
    step = (
        (codes[after] == codes[before])
        & (driven > STEP_TIMES * rate[after] * (days + LOOSE_DAYS))
        & (driven - rate[after] * days > STEP_KM)
        & ~sure[before]
        & ~sure[after]
    )
    unit_from, unit_to = (np.searchsorted(codes, codes[after[step]], side) for side in ("left", "right"))
    for low, high, start, end in zip(before[step], after[step], unit_from, unit_to, strict=True):
        own = start + np.flatnonzero(marks[start:end])
        early, late = own[own <= low], own[own >= high]
        near = high - 1 if high - 1 > low else (late[1] if len(late) > 1 else None)
        if near is None:
            continue
        on_km, on_days = abs(km[near] - km[high]), abs(day[near] - day[high])
        goes_on = on_km <= STEP_TIMES * rate[high] * (on_days + LOOSE_DAYS)
        if goes_on and not sure[late].any():
            marks[early if len(early) < len(late) else late] = False


def _doubt_last(rows: _Rows) -> None:
    """Nothing after it contradicts the last reading: doubt it where a kilometre slip fits far better."""
    trusted = np.flatnonzero(rows.trusted)
    own = rows.unit[trusted]
    is_last = np.r_[own[1:] != own[:-1], True]
    count = np.bincount(own, minlength=rows.unit[-1] + 1)[own]
    ends = np.flatnonzero(is_last & (count >= 4))
    last, before = trusted[ends], trusted[ends - 1]
    slip = _kilometre_slip(
        rows.km[last], rows.km[before], rows.km_per_day[last], rows.day[last] - rows.day[before]
    )
    rows.trusted[last[slip]] = False


def _kilometre_slip(
    km: np.ndarray, last_km: np.ndarray, km_per_day: np.ndarray, days: np.ndarray
) -> np.ndarray:
    """True where the reading is far beyond the usual mileage and, divided by 1.609, is just what was due."""
    too_far = km - last_km > 2.5 * km_per_day * (days + LOOSE_DAYS)
    slipped = km / KM_PER_MILE - last_km
    return (
        too_far & (slipped >= -LOOSE_DAYS * km_per_day) & (slipped <= 1.5 * km_per_day * (days + LOOSE_DAYS))
    )


def _explain(rows: _Rows) -> tuple[np.ndarray, np.ndarray]:
    """Return what each doubted reading may be, and in km what it would be then."""
    places = np.arange(len(rows.unit))
    trusted, codes = rows.trusted, rows.unit
    doubted = np.flatnonzero(~trusted)
    code, likely_km = np.full(len(places), "", dtype=object), np.full(len(places), np.nan)
    if not len(doubted):
        return code, likely_km
    before = pd.Series(np.where(trusted, places, -1)).groupby(codes).cummax().to_numpy()
    after = (
        pd.Series(np.where(trusted, places, len(places)))[::-1].groupby(codes[::-1]).cummin()[::-1].to_numpy()
    )
    restarted = _restarts(rows, doubted, before, after)
    day, km, rate, entered = rows.day, rows.km, rows.km_per_day, rows.entered
    for place in doubted:
        if place in restarted:
            code[place] = "odometer-restarted"
            continue
        low = before[place] if before[place] >= 0 else None
        high = after[place] if after[place] < len(places) else None
        doubt = explain_reading(
            km[place],
            entered[place],
            day[place],
            (day[low], km[low]) if low is not None else None,
            (day[high], km[high]) if high is not None else None,
            rate[place],
        )
        code[place], likely_km[place] = doubt.code, doubt.likely_km
    return code, likely_km


def _restarts(rows: _Rows, doubted: np.ndarray, before: np.ndarray, after: np.ndarray) -> set[int]:
    """Doubted readings that form a run of their own at one end of a unit's history: a new cluster, likely."""
    km, day, rate, cap, codes = rows.km, rows.day, rows.km_per_day, rows.cap, rows.unit
    found: set[int] = set()
    at_end = doubted[(after[doubted] == len(km)) | (before[doubted] < 0)]
    for _, run in pd.Series(at_end).groupby([codes[at_end], before[at_end] < 0]):
        places = run.to_numpy()
        driven, days = np.diff(km[places]), np.diff(day[places])
        steady = (driven >= -LOOSE_DAYS * rate[places[1:]]) & (
            driven <= cap[places[1:]] * (days + SLACK_DAYS)
        )
        at_start = before[places[0]] < 0
        other = after[places[-1]] if at_start else before[places[0]]
        falls = km[places[-1]] > km[other] if at_start else km[places[0]] < km[other]
        steps = not at_start and km[places[0]] - km[other] > STEP_KM
        if len(places) >= 2 and steady.all() and (falls or steps):
            found |= set(places.tolist())
    return found


def explain_reading(
    km: float,
    entered: float,
    day: int,
    before: tuple[int, float] | None,
    after: tuple[int, float] | None,
    km_per_day: float,
    *,
    loose_days: float = LOOSE_DAYS,
) -> Doubt:
    """Explain one doubted reading by its trusted neighbours (day, km) and the unit's usual rate.

    A slip counts as the explanation when undoing it brings the reading between its neighbours, or within
    2.5 times the usual distance of the one there is; of several the one nearest to what was due. loose_days:
    by how many days' driving it may then lie below the one before, whose date may be off.
    """
    if before and 0 <= before[1] - km <= SLACK_DAYS * km_per_day:
        return Doubt("odometer-below-last")  # just below: no slip of digits, rather a wrong date or unit
    low, high, due = _due(day, before, after, km_per_day)
    if before:
        low = max(low, before[1] - loose_days * km_per_day)
    factor = km / entered if entered else 1.0
    candidates = [("odometer-kilometres", km / KM_PER_MILE), ("odometer-miles", km * KM_PER_MILE)]
    # A unit slip is commoner than a slip of digits, and one at the end of the number than one within.
    near_km = (
        high - low
    ) / 4  # a number has many neighbours by one digit: only those near what was due count
    for group, within_km in zip(
        (candidates, *_digit_slips(entered, factor)), (np.inf, np.inf, near_km), strict=True
    ):
        fitting = [
            (abs(value - due), code, value)
            for code, value in group
            if low <= value <= high and abs(value - due) <= within_km
        ]
        if fitting:
            _, code, value = min(fitting)
            return Doubt(code, value)
    return Doubt("odometer-below-last" if before and km < before[1] else "odometer-too-far")


def _due(
    day: int, before: tuple[int, float] | None, after: tuple[int, float] | None, km_per_day: float
) -> tuple[float, float, float]:
    """Lowest, highest and likeliest value of a reading on that day."""
    loose = LOOSE_DAYS * km_per_day
    if before and after:
        share = (day - before[0]) / max(after[0] - before[0], 1)
        return before[1] - loose, after[1] + loose, before[1] + share * (after[1] - before[1])
    if before:
        days = day - before[0]
        high = before[1] + 2.5 * km_per_day * (days + SLACK_DAYS)
        return before[1] - loose, high, before[1] + km_per_day * days
    if after:
        days = after[0] - day
        low = after[1] - 2.5 * km_per_day * (days + SLACK_DAYS)
        return max(low, 0.0), after[1] + loose, max(after[1] - km_per_day * days, 0.0)
    return 0.0, np.inf, 0.0


def _digit_slips(entered: float, factor: float) -> list[list[tuple[str, float]]]:
    """Values that may have been meant, in km: a digit more or less at the end; then anywhere, or swapped."""
    digits = str(int(entered)) if np.isfinite(entered) and entered >= 1 else ""
    end = {digits[:-1]} | {digits + d for d in "0123456789"}
    dropped = {digits[:i] + digits[i + 1 :] for i in range(len(digits))}
    added = {digits[:i] + d + digits[i:] for i in range(1, len(digits)) for d in "0123456789"}
    swapped = {digits[:i] + digits[i + 1] + digits[i] + digits[i + 2 :] for i in range(len(digits) - 1)}
    return [
        [("odometer-digit", float(text) * factor) for text in sorted(texts - {digits, ""})]
        for texts in (end, dropped | added | swapped)
    ]


def _just_converted(km: float, last_km: float) -> bool:
    """The last reading times 1.609, to within what a unit drives in a few days: the same value, in km."""
    return last_km > 0 and abs(km / KM_PER_MILE / last_km - 1) < 0.003


def judge_entry(
    history: pd.DataFrame, day: np.datetime64, km: float, entered: float, km_per_day: float | None = None
) -> Doubt | None:
    """Judge one new reading against a unit's history (columns read_on, odometer_km), strictly; None: fine.

    km_per_day: the unit's usual rate where it is known otherwise (else from the history, else a default).
    """
    on = history["read_on"].to_numpy(dtype="datetime64[D]")
    read = history["odometer_km"].to_numpy(dtype=float)
    usable = np.flatnonzero(~np.isnat(on) & ~np.isnan(read))
    if not len(usable):
        return None
    rows = _in_order(usable, np.zeros(len(usable), int), on[usable], read[usable])
    _judge(rows)
    rate = km_per_day or float(rows.km_per_day[0])
    days, values = rows.day[rows.trusted], rows.km[rows.trusted]
    at = int(day.astype("datetime64[D]").astype("int64"))
    earlier, later = days <= at, days > at
    before = (int(days[earlier][-1]), float(values[earlier].max())) if earlier.any() else None
    after = (int(days[later][0]), float(values[later].min())) if later.any() else None
    rounding_km = 1.0
    below = before is not None and km < before[1] - rounding_km
    beyond_next = after is not None and km > after[1] + LOOSE_DAYS * rate
    if below or beyond_next:
        return explain_reading(km, entered, at, before, after, rate, loose_days=0.0)
    if before is None:
        return None
    driven, gone = km - before[1], at - before[0]
    fast = max(FASTER * rate, _own_fastest(days, values))
    if driven > fast * (gone + SLACK_DAYS):
        return explain_reading(km, entered, at, before, after, rate, loose_days=0.0)
    slip = _kilometre_slip(np.array([km]), np.array([before[1]]), np.array([rate]), np.array([gone]))
    offered = km / KM_PER_MILE >= before[1] - rounding_km  # nobody is offered less than the unit had run
    if (slip[0] or _just_converted(km, before[1])) and after is None and offered:
        return Doubt("odometer-kilometres", km / KM_PER_MILE)
    return None


def _own_fastest(days: np.ndarray, values: np.ndarray) -> float:
    if len(days) < 3:
        return 0.0
    return float(1.5 * (np.diff(values) / np.maximum(np.diff(days), LOOSE_DAYS)).max())
