"""Complaints stay open until their steps are recorded good, a named cause is mended, the fault that their
reading showed is gone after work, or a person closes them."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
import pandas as pd

from analytics.judging.baseline import text
from ingest.vocabulary import FAULT_REASONS

# What a service row mends, by the cause a check names.
MENDS = {
    "circuit": ("wiring", "connector"),
    "filter": ("filter",),
    "strainer": ("strainer", "tank_cleaned"),
    "hose": ("hose",),
    "regulator": ("regulator",),
    "fuel": ("fuel", "tank_cleaned"),
    "clamp": (),
}


def open_since(judged: pd.DataFrame, services: pd.DataFrame | None) -> pd.Series:
    """Return for each visit the day of the earliest complaint about its pump still open by then, else NaT.

    judged: visits in order of pump and time with the facts and `sound` (its own verdict is no fault).
    """
    since = pd.Series(pd.NaT, index=judged.index, dtype="datetime64[us]")
    complained = text(judged, "reason").isin(FAULT_REASONS)
    concerned = judged["pump_id"].isin(judged.loc[complained, "pump_id"].unique())
    for _, visits in judged[concerned].groupby("pump_id", sort=False):
        since.loc[visits.index] = _of_one_pump(visits, services)
    return since


def _of_one_pump(visits: pd.DataFrame, services: pd.DataFrame | None) -> np.ndarray:
    days = pd.to_datetime(visits["visited_on"]).to_numpy("datetime64[us]")
    out = np.full(len(visits), np.datetime64("NaT", "us"))
    for at in np.flatnonzero(text(visits, "reason").isin(FAULT_REASONS).to_numpy()):
        closed = _closed_at(visits, int(at), days, services)
        held = slice(at, closed)
        out[held] = np.fmin(out[held], days[at])
    return out


def _closed_at(visits: pd.DataFrame, at: int, days: np.ndarray, services: pd.DataFrame | None) -> int:
    """Return the place of the visit by which the complaint made at place `at` is closed, else their
    number."""
    count = len(visits)
    later = np.arange(count) > at
    since = np.arange(count) >= at

    def so_far(column: str) -> np.ndarray:
        return np.logical_or.accumulate(visits[column].to_numpy(bool) & since)

    retested = np.logical_or.accumulate(
        later & visits["sound"].to_numpy(bool) & ~visits["carried"].to_numpy(bool)
    )
    good = so_far("pressure_held") & so_far("delivery_good") & so_far("connector_good") & retested
    result = text(visits, "check_result").to_numpy()
    named = np.isin(result, list(MENDS)) & since
    mended = np.array([n and _mended(visits, i, days, at, services) for i, n in enumerate(named)], bool)
    repaired = np.logical_or.accumulate(named) & retested | np.logical_or.accumulate(mended)
    # The complaint's own reading showed a fault, which is gone since work was done.
    shown = not visits["sound"].iloc[at] and not visits["carried"].iloc[at]
    cured = later & shown & _worked_by(visits, days, at, services)
    cured &= visits["sound"].to_numpy(bool) & ~visits["carried"].to_numpy(bool)
    by_person = np.logical_or.accumulate(_closes(visits, at) & since)
    done = np.flatnonzero((good | repaired | np.logical_or.accumulate(cured) | by_person) & since)
    return int(done[0]) if len(done) else count


def _mended(visits: pd.DataFrame, row: int, days: np.ndarray, at: int, services: pd.DataFrame | None) -> bool:
    works = MENDS[str(visits["check_result"].iloc[row])]
    return bool(np.any(_work_days(visits, days, at, services, works) <= days[row:].max()))


def _worked_by(visits: pd.DataFrame, days: np.ndarray, at: int, services: pd.DataFrame | None) -> np.ndarray:
    """Whether work that mends what a check may name was done from the complaint to each visit (n,)."""
    works = {work for mends in MENDS.values() for work in mends}
    done = _work_days(visits, days, at, services, works)
    return days >= done.min() if len(done) else np.zeros(len(visits), bool)


def _work_days(
    visits: pd.DataFrame, days: np.ndarray, at: int, services: pd.DataFrame | None, works: Collection[str]
) -> np.ndarray:
    """Return the days, from the complaint at place `at` on, of such work on its unit."""
    if services is None or not len(services):
        return days[:0]
    mine = services[(services["unit"] == visits["unit"].iloc[at]) & services["work"].isin(works)]
    done = pd.to_datetime(mine["done_on"]).to_numpy("datetime64[us]")
    return done[done >= days[at]]


def _closes(visits: pd.DataFrame, at: int) -> np.ndarray:
    """Whether each visit closes the one at place `at`: it names it, and says why."""
    named = text(visits, "closes").astype(str).str.strip()
    meant = {str(visits["visit_id"].iloc[at])} | {str(r) for r in [text(visits, "ref").iloc[at]] if r}
    says_why = (text(visits, "note") != "") | (text(visits, "check_result") != "")
    return (named.isin(meant) & says_why).to_numpy()
