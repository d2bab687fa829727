"""Prices and the decision beside each ranked pump: the one place where list, plan and review get theirs."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import NamedTuple

import numpy as np
import pandas as pd

from analytics.judging.beside import IN_TANK
from analytics.judging.made import FIRST, has
from analytics.money.cost_book import CostBook
from analytics.money.decision import (
    CHECK_AND_CHANGE,
    JOBS,
    NEXT_STOP,
    TIMES,
    Decision,
    Outlook,
    Skill,
    Work,
    decide,
)
from analytics.money.long_run import LongRun
from analytics.money.outlook import Ahead, outlook_of
from ingest.settings_in_force import Settings

# Pumps that get too few volts, by measurement, and have nothing else the matter: the rest blew their own fuse
# or stood still after. And causes found beside the pump that are one: the rest is mended without being the
# cause (common practice, no source).
PROVEN_SHARE = 0.95
VEHICLE_FACTS = ["job_hours", "retires_on", "vin", "make", "model", "year"]


class Curves(NamedTuple):
    """Survival (n, m) over grid_km (m,) from today: as read, of its age and never read, of a new pump."""

    grid_km: np.ndarray
    survival: np.ndarray
    by_age: np.ndarray
    of_new: np.ndarray


class Weighed(NamedTuple):
    """What was weighed and what came of it, n pumps; held_back (n,): what it costs more that a finished
    finding is demanded before a change, in money, 0 where the fleet demands none."""

    outlook: Outlook
    work: Work
    decision: Decision
    held_back: np.ndarray


def with_prices(
    ranked: pd.DataFrame, book: CostBook, long_run: LongRun, vehicles: pd.DataFrame
) -> pd.DataFrame:
    """Return rank's rows with vehicle facts, prices and `cost_per_km` (g).

    ranked: class, depot, pump_type at least. vehicles: rows of plan_vehicles.sql.
    """
    pumps = ranked.join(vehicles.set_index("unit")[VEHICLE_FACTS], on="unit")
    pumps = pd.concat([pumps, book.price_frame(pumps)], axis=1)
    pumps["cost_per_km"] = long_run.cost_per_km(
        pumps["pump_type"], pumps["planned"].to_numpy(float), pumps["failure"].to_numpy(float)
    )
    return pumps


def weigh(pumps: pd.DataFrame, curves: Curves, ahead: Ahead, settings: Settings) -> Weighed:
    """Decide about every pump.

    pumps: rows of `with_prices` with risk, risk_if_new (over one interval), class, and bool finished (its
    finding's steps are all passed), finding, checked (its check is done, with its newest reading), failed,
    starves (proven not to deliver), idle (by its last reading the engine may get no fuel), circuit_proven
    (volts and drops explain that), cause_found (its finding is a cause beside the pump, measured or seen, not
    mended) and made (judging/made.py).
    """
    work, skill = work_of(pumps, settings), skill_of(settings)
    idle = pumps["idle"].to_numpy(bool)
    proven = idle & pumps["circuit_proven"].to_numpy(bool)
    skill = replace(skill, miss=np.where(proven, 0.0, skill.miss))  # it is measured already
    ahead = replace(ahead, to_extra_km=np.where(idle, 0.0, ahead.to_extra_km))  # that stop is today's
    outlook, work = outlook_of(
        *curves, ahead, work, pumps["cost_per_km"].to_numpy(float), float(settings["beside_share"])
    )
    finished = pumps["finished"].to_numpy(bool)
    # Its steps are passed, or it was just checked: no cause beside the pump is left to be found.
    looked_at = finished | pumps["checked"].to_numpy(bool)
    # Where no current flows no reading tells how likely a cause beside the pump is: the trade's share does,
    # or the volts that were missing at its plug.
    least = np.select([proven, idle], [PROVEN_SHARE, float(settings["beside_share"])], 0.0)
    # What it takes to let it run at all goes first, and what was found then is part of it.
    found = np.where(pumps["cause_found"].to_numpy(bool) & ~idle, PROVEN_SHARE, 0.0)
    outlook = replace(
        outlook,
        beside=np.where(looked_at, 0.0, np.maximum(outlook.beside, least)),
        found=found,
        in_tank=pumps["finding"].isin(IN_TANK).to_numpy(bool),
    )
    risk = pumps["risk"].to_numpy(float)
    weighed = partial(
        decide,
        outlook,
        work,
        skill,
        over_ceiling=np.nan_to_num(ceilings(pumps, settings), nan=np.inf) < risk,
        safer=risk > pumps["risk_if_new"].to_numpy(float),
        failed=pumps["failed"].to_numpy(bool),
        starves=pumps["starves"].to_numpy(bool),
        looked_at=looked_at,
        idle=idle,
        read_now=has(pumps["made"], *FIRST),
        least_saving=float(settings["least_saving_share"]) * pumps["planned"].to_numpy(float),
    )
    demanded = bool(settings["demand_finished_finding"])
    made = weighed(may_change=finished | (not demanded))
    held_back = made.cost - weighed().cost if demanded else np.zeros(len(pumps))
    return Weighed(outlook, work, made, held_back)


def with_decision(pumps: pd.DataFrame, weighed: Weighed) -> pd.DataFrame:
    """Return `pumps` with what was decided: option (of JOBS, as weighed), at (of TIMES), p_change,
    worth, because, benefit, saving, held_back, risk_to_next_stop, risk_then (before its own time) and
    p_beside; and, for other days, there, keep_then (what keeping costs from that time on), cost_of_nothing,
    left_to_fail, fail_cost and value_per_km (g).

    worth: a change is ordered, checked first or not. benefit: what the best job with a change saves against
    doing nothing, in money, below 0 where it costs more; saving: the same of what was chosen.
    """
    made, outlook = weighed.decision, weighed.outlook
    changes = np.concatenate([made.options[:, job] for job in range(CHECK_AND_CHANGE, len(JOBS))], axis=1)
    none = np.isnan(changes).all(axis=1)
    best = np.where(none, np.nan, np.nanmin(np.where(none[:, None], 0.0, changes), axis=1))
    return pumps.assign(
        option=np.array(JOBS, object)[made.job],
        at=np.where(made.acts, np.array(TIMES, object)[made.time], ""),
        p_change=made.p_change,
        worth=made.job >= CHECK_AND_CHANGE,
        because=made.because,
        there=made.there,
        keep_then=outlook.keep[np.arange(len(pumps)), made.time],
        cost_of_nothing=made.cost_of_nothing,
        left_to_fail=np.broadcast_to(outlook.left_to_fail, len(pumps)),
        fail_cost=np.broadcast_to(weighed.work.fail, len(pumps)),
        value_per_km=outlook.cost_per_km,
        benefit=np.nan_to_num(made.cost_of_nothing - best, nan=-np.inf),
        saving=np.where(made.acts, made.saving, 0.0),
        held_back=weighed.held_back,
        risk_to_next_stop=outlook.risk[:, NEXT_STOP],
        risk_then=outlook.risk[np.arange(len(pumps)), made.time],
        p_beside=outlook.beside,
    )


def work_of(pumps: pd.DataFrame, settings: Settings) -> Work:
    """Return the prices of n pumps' work, from `with_prices`."""
    names = ("planned", "failure", "check_closed", "check_open", "extra_stop", "part_returned", "comeback",
             "other_breakdown")  # fmt: skip
    return Work(
        **{name: pumps[name].to_numpy(float) for name in names},
        comeback_share=float(settings["comeback_share"]),
    )


def skill_of(settings: Settings) -> Skill:
    """Return what a check is worth by the settings."""
    return Skill(
        float(settings["check_miss_share"]),
        float(settings["check_false_share"]),
        float(settings["check_open_share"]),
        float(settings["beside_breaks_share"]),
    )


def ceilings(pumps: pd.DataFrame, settings: Settings) -> np.ndarray:
    """Return each pump's risk ceiling by its vehicle's class, NaN where there is none."""
    return pumps["class"].map(settings["risk_ceiling"]).to_numpy(float)
