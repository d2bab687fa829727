"""What a visit says of causes beside the pump other than by current, speed and ripple: what its check found,
work done since the last visit, and what is missing of delivery and pressure.

Supply (connector, wiring, ground) shows as lost speed; what starves or restricts the flow (strainer, hose,
regulator, filter, fuel) and a clamp that lies show in the load. What they add to ripple is too little for a
check to tell of it.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd

from ingest.trade_numbers import DEFAULTS
from ingest.vocabulary import PARTS

SUPPLY_WORK, FLOW_WORK = ("connector", "wiring"), ("strainer", "hose", "regulator", "fuel", "tank_cleaned")
# What a check may name, and the parts it may find, of causes that show in each channel.
CAUSES_SEEN = {
    "load": ("filter", "strainer", "hose", "regulator", "fuel", "clamp"),
    "ripple": (),
    "brush": ("circuit",),
}
PARTS_SEEN = {
    "load": ("filter_state", "strainer", "hose", "regulator"),
    "ripple": (),
    "brush": ("connector",),
}
# Natural log of how much likelier a finding is with such a cause than without; a check with the tank closed
# misses half of them, an opened one a tenth, and either may name what is not there (common practice, no
# source).
NAMED, NONE_FOUND, PART_GOOD, MOST_GOOD, WORK_NAMED = 2.2, -0.7, -0.5, -1.5, 1.5
UNMOVED = 2.5  # natural log, as above: a current that changed with the speed unmoved
# Drops on the pump's own circuit beyond which something takes its volts: as the settings come, whatever a
# fleet makes of them, since what such a drop does to a reading is the same in each.
DROPS_MOST_V = {
    "drop_supply_v": DEFAULTS["drop_supply_limit_v"],
    "drop_ground_v": DEFAULTS["drop_ground_limit_v"],
}
DROP_FOUND = 2.2  # natural log, as above, of one that does
WORK_CURES = 0.7  # chance that recorded work ends a cause beside the pump: common practice, no source
FEW_DELIVERIES = 5  # readings of a type from which its usual delivery may be told
DELIVERY_SD = 0.08  # of ln delivery, pump to pump and reading to reading: common practice, no source
# Pressure falls once a pump delivers less than about .7 of what it did new (common practice, no source).
PRESSURE_LOW, MARGIN, PRESSURE_SD = 0.08, 0.33, 0.15
PRESSURE_FAR = np.log(1.2)  # over rated and usual: regulator or return (common practice, no source)


class Hints(NamedTuple):
    """Of one channel at each visit, (visits,).

    worked: chance that work on record since the last visit ended a cause beside the pump; cured: that what
    this visit's check named was mended before its reading; odds: natural log of how much likelier the
    visit's findings are with such a cause than without. opened: variance by which nobody knows how the
    visit's state and drive shift the channel of this pump from where it was read before.
    """

    worked: np.ndarray
    cured: np.ndarray
    odds: np.ndarray
    opened: np.ndarray

    def take(self, rows: np.ndarray) -> Hints:
        """Return `rows`."""
        return Hints(*(of[rows] for of in self))


class Flow(NamedTuple):
    """What is missing of the delivery, natural log, NaN where nobody told; r: variance; (visits,) each."""

    y: np.ndarray
    r: np.ndarray

    def take(self, rows: np.ndarray) -> Flow:
        """Return `rows`."""
        return Flow(self.y[rows], self.r[rows])


def no_hints(n: int) -> Hints:
    """Return the hints of visits without checks or work."""
    return Hints(*np.zeros((4, n)))


def no_flow(n: int) -> Flow:
    """Return the flow of visits without delivery."""
    return Flow(np.full(n, np.nan), np.ones(n))


def hints(visits: pd.DataFrame, channel: str) -> Hints:
    """Return what each visit says of causes that show in `channel` (a key of CAUSES_SEEN)."""
    n = len(visits)
    odds, cured, worked = np.zeros(n), np.zeros(n), np.zeros(n)
    if "worked" in visits:
        worked = WORK_CURES * visits["worked"].to_numpy(float)
    if "unsaid_work" in visits:
        worked = np.maximum(worked, WORK_CURES * visits["unsaid_work"].to_numpy(float))
    kind = {"load": "worked_flow", "brush": "worked_supply"}.get(channel)
    if kind in visits:
        odds = WORK_NAMED * visits[kind].to_numpy(float)
    if channel in ("load", "brush") and "unmoved" in visits:
        odds = odds + UNMOVED * visits["unmoved"].to_numpy(float)
    if channel == "brush":
        odds = odds + DROP_FOUND * drops_far(visits)
    if CAUSES_SEEN[channel] and checked(visits).any():
        result = visits.get("check_result", pd.Series(None, visits.index, dtype=object))
        named = result.isin(CAUSES_SEEN[channel]).to_numpy()
        good, bad = np.zeros(n), np.zeros(n, bool)
        for part in PARTS_SEEN[channel]:
            if part in visits:
                good += visits[part].eq("good").to_numpy()
                bad |= visits[part].eq("bad").to_numpy()
        found = named | bad
        nothing = result.eq("no_other_cause").to_numpy()
        odds = odds + np.where(found, NAMED, NONE_FOUND * nothing + np.maximum(PART_GOOD * good, MOST_GOOD))
        cured = np.where(found, WORK_CURES, 0.0)
    odds = np.where(_towed(visits), 0.0, odds) if odds.any() else odds
    return Hints(worked, cured, odds, np.zeros(n))


def drops_far(visits: pd.DataFrame) -> np.ndarray:
    """Return whether a drop measured at the pump takes more of its volts than a sound circuit, (visits,)
    bool."""
    told = (visits[name].to_numpy(float) > most for name, most in DROPS_MOST_V.items() if name in visits)
    return np.any([np.zeros(len(visits), bool), *told], axis=0)


def checked(visits: pd.DataFrame) -> np.ndarray:
    """Return whether a check's outcome or parts examined are on record with each visit, (visits,) bool."""
    columns = [name for name in ("check_result", *PARTS) if name in visits]
    return visits[columns].notna().any(axis=1).to_numpy(bool) if columns else np.zeros(len(visits), bool)


def usual_flow(visits: pd.DataFrame, pumps: pd.DataFrame) -> dict[str, float]:
    """Return medians by type: `rpm/TYPE` of ln rpm, `pressure/TYPE` of ln delivery there at that speed, and
    `free/TYPE` of ln delivery into a can, `kpa/TYPE` of ln pressure, each from FEW_DELIVERIES readings."""
    if not _tells_flow(visits):
        return {}
    kind = _Kinds.of(visits, pumps)
    out: dict[str, float] = {}
    out |= kind.medians("rpm", np.where(_full(visits), _ln(visits, "rpm"), np.nan))
    out |= kind.medians("kpa", _ln(visits, "fuel_pressure_kpa"))
    free, delivered = _is_free(visits), _at_usual_speed(visits, kind, out)
    out |= kind.medians("free", np.where(free, delivered, np.nan))
    out |= kind.medians("pressure", np.where(free, np.nan, delivered))
    return out


def flow(visits: pd.DataFrame, pumps: pd.DataFrame, usual: dict[str, float]) -> tuple[Flow, Flow]:
    """Return what is missing of each visit's delivery, and the same with what pressure says where no delivery
    is told."""
    n = len(visits)
    if not usual or not _tells_flow(visits):
        return no_flow(n), no_flow(n)
    kind, towed = _Kinds.of(visits, pumps), _towed(visits)
    expected = np.where(_is_free(visits), kind.look_up(usual, "free"), kind.look_up(usual, "pressure"))
    missing = np.where(towed, np.nan, expected - _at_usual_speed(visits, kind, usual))
    delivered = Flow(missing, np.full(n, DELIVERY_SD**2))
    fell = kind.look_up(usual, "kpa") - _ln(visits, "fuel_pressure_kpa")
    by_pressure = np.isnan(missing) & (fell > PRESSURE_LOW) & ~towed
    either = Flow(
        np.where(by_pressure, MARGIN + fell, missing),
        np.where(by_pressure, PRESSURE_SD**2, DELIVERY_SD**2),
    )
    return delivered, either


def pressure_far_above(visits: pd.DataFrame, pumps: pd.DataFrame, usual: dict[str, float]) -> np.ndarray:
    """Return whether pressure stood far above rated and above what is usual of the type, (visits,) bool: a
    fault beside the pump, whose load is not the pump's and lies further out than any exponent holds."""
    pressure = _ln(visits, "fuel_pressure_kpa")
    if np.isnan(pressure).all():
        return np.zeros(len(visits), bool)
    rated = np.log(pumps["rated_pressure_kpa"].to_numpy(float))[visits["pump"].to_numpy(int)]
    return pressure - np.fmax(rated, _Kinds.of(visits, pumps).look_up(usual, "kpa")) > PRESSURE_FAR


class _Kinds(NamedTuple):
    """The pump type of each visit: code into names, (visits,)."""

    code: np.ndarray
    names: list[str]

    @classmethod
    def of(cls, visits: pd.DataFrame, pumps: pd.DataFrame) -> _Kinds:
        code, names = pd.factorize(pumps["pump_type"].astype(str))
        return cls(code[visits["pump"].to_numpy(int)], [str(name) for name in names])

    def medians(self, prefix: str, value: np.ndarray) -> dict[str, float]:
        """Return the median by type of what is told, where FEW_DELIVERIES readings tell it."""
        told = ~np.isnan(value)
        by_kind = pd.Series(value[told]).groupby(self.code[told])
        middle, count = by_kind.median(), by_kind.count()
        enough = middle[count >= FEW_DELIVERIES]
        names = [self.names[code] for code in enough.index.to_numpy(int)]
        return {f"{prefix}/{name}": float(v) for name, v in zip(names, enough, strict=True)}

    def look_up(self, usual: dict[str, float], prefix: str) -> np.ndarray:
        """Return each visit's usual value, NaN where nothing tells its type's."""
        by_type = np.array([usual.get(f"{prefix}/{name}", np.nan) for name in self.names])
        return np.asarray(by_type[self.code])


def _tells_flow(visits: pd.DataFrame) -> bool:
    """Whether any visit has a delivery or a pressure."""
    told = ("delivery_l_min", "fuel_pressure_kpa")
    return "delivery_l_min" in visits and any(bool(visits[name].notna().any()) for name in told)


def _towed(visits: pd.DataFrame) -> np.ndarray:
    """Which visits are road calls: by then the pump has failed, which is counted as its end."""
    return visits["reason"].eq("road-call").to_numpy() if "reason" in visits else np.zeros(len(visits), bool)


def _is_free(visits: pd.DataFrame) -> np.ndarray:
    """Which visits measured the delivery into a can."""
    return np.asarray(visits["delivery_at"].eq("free").fillna(False), bool)


def _full(visits: pd.DataFrame) -> np.ndarray:
    """Which visits ran at full feed."""
    feed = visits["ln_feed"].to_numpy(float) if "ln_feed" in visits else np.zeros(len(visits))
    low = visits["low_speed"].to_numpy(float) if "low_speed" in visits else np.zeros(len(visits))
    return np.asarray((feed == 0) & (low == 0))


def _ln(visits: pd.DataFrame, name: str) -> np.ndarray:
    value = visits[name].to_numpy(float)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(value > 0, np.log(value), np.nan)


def _at_usual_speed(visits: pd.DataFrame, kind: _Kinds, usual: dict[str, float]) -> np.ndarray:
    """Return ln delivery at full feed, for the type's usual speed where a speed was told."""
    faster = _ln(visits, "rpm") - kind.look_up(usual, "rpm")
    told = np.where(_full(visits), _ln(visits, "delivery_l_min"), np.nan)
    return told - np.where(np.isnan(faster), 0.0, faster)
