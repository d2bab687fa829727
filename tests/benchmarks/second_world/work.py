"""Work at a stop: check, change, what the bench finds, what is cured and how it is paid and written down."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from . import causes, checks, lives, readings
from .causes import CAUSES, FILTER, STRAINER
from .jobs import CHANGE, CHECK, CHECK_AND_CHANGE, size
from .readings import STANDS_OUT

if TYPE_CHECKING:
    from .run import Run

# Chance that a cause goes with the change of a pump: strainer and filter nearly always.
WITH_CHANGE = np.array([0.35, 0.0, 0.05, 0.95, 1.0, 0.2, 0.5, 0.0])


def do_jobs(run: Run, u: np.ndarray, day: np.ndarray, job: np.ndarray) -> None:
    """Do the jobs of these units at this stop."""
    rows = np.flatnonzero((job == CHECK) | (job == CHECK_AND_CHANGE))
    goes = job == CHANGE
    if rows.size:
        goes[rows] = check(run, u[rows], day[rows], job[rows])
    rows = np.flatnonzero(goes)
    if rows.size:
        price = run.world.prices.planned
        run.log.spend(u[rows], day[rows], "planned change", price)
        by_shop = run.world.luck.uniform("shop-word", u[rows], day[rows].astype(int)) < 0.12
        change(run, u[rows], day[rows], np.where(run.shop & by_shop, 2, 1), failed=False)


def check(run: Run, u: np.ndarray, day: np.ndarray, job: np.ndarray) -> np.ndarray:
    """Stage A, and B where A settles nothing; cures what is found; True where a change follows."""
    world, prices = run.world, run.world.prices
    before = run.off(u)
    hurt, level = run.state(u, day)
    there = level.copy()
    found = checks.look(world.luck, u, day, checks.STAGE_A, level, world.skill)
    named, truly = act_on(run, u, day, found)
    hurt, level = run.state(u, day)
    told = run.read(u, day, readings.AT_CHECK, hurt, level, readings.FULL)
    z = readings.normalised(run.lives.design[u], told)
    after = run.off(u, z)
    open_too = (named < 0) & ~(size(after) < STANDS_OUT)
    if open_too.any():
        k, d = u[open_too], day[open_too]
        found_b = checks.look(world.luck, k, d, checks.STAGE_B, level[open_too], world.skill)
        named[open_too], truly[open_too] = act_on(run, k, d, found_b)
        again = np.flatnonzero(open_too)[named[open_too] >= 0]
        if again.size:
            k, d = u[again], day[again]
            hurt_b, level_b = run.state(k, d)
            second = run.read(k, d, readings.AFTER_CHECK, hurt_b, level_b, readings.FULL)
            for name, value in told.items():
                value[again] = second[name]
            z[again] = readings.normalised(run.lives.design[k], second)
            after[again] = run.off(k, z[again])
    run.log.spend(u, day, "check, tank closed", prices.check_closed)
    seen = pd.DataFrame(
        {
            "unit": run.fleet.names[u],
            "day": day.astype(int),
            "job": np.where(job == CHECK, "check", "check and change"),
            "named": np.where(named >= 0, np.array(CAUSES)[np.maximum(named, 0)], ""),
            "tank_opened": open_too,
            "off_before": size(before),
            "off_after": size(after),
            "mean_a": told["mean_a"],
            "rpm": told["rpm"],
            "ripple_pct": told["ripple_pct"],
            "supply_v": told["supply_v"],
            "fuel_pressure_kpa": told["fuel_pressure_kpa"],
            "delivery_l_min": told["delivery_l_min"],
        }
    )
    repeats = ~((size(before) >= STANDS_OUT) & (size(after) < STANDS_OUT))
    result = np.where(named >= 0, named, np.where(repeats, -1, -2))
    run.log.check(run.fleet, u, day, told, run.lives.number[u], named, open_too, result)
    run.log.happen(u, day, "check", run.lives.number[u], result)
    goes = np.zeros(u.size, bool)
    ask = job == CHECK_AND_CHANGE
    if ask.any():
        goes[ask] = np.asarray(run.judge(seen[ask].reset_index(drop=True)), dtype=bool)
    # The tank is opened once: with a change it is in the change's labour.
    run.log.spend(u[open_too & ~goes], day[open_too & ~goes], "check, tank open", prices.check_open)
    run.log.spend(u[ask & ~goes], day[ask & ~goes], "part returned", prices.part_returned)
    run.log.checked(u, day, job, run.lives.number[u], there, named, truly, open_too, goes)
    stays = u[~goes]
    run.last[stays], run.last_day[stays] = z[~goes], day[~goes]
    return goes


def act_on(run: Run, u: np.ndarray, day: np.ndarray, found: checks.Found) -> tuple[np.ndarray, np.ndarray]:
    """Cure what is truly found, work on what is falsely named; cause named first (-1 none), truly or not."""
    worked = found.true.copy()
    renewed = np.flatnonzero((found.false == STRAINER) | (found.false == FILTER))
    worked[renewed, found.false[renewed]] = True
    rows, c = np.nonzero(worked)
    cure(run, u[rows], c, day[rows], np.ones(rows.size, bool))
    idle = np.flatnonzero((found.false >= 0) & ~worked.any(axis=1))
    run.log.service(run.fleet, u[idle], day[idle], found.false[idle])
    truly = found.true.any(axis=1)
    return np.where(truly, found.true.argmax(axis=1), found.false), truly


def change(run: Run, u: np.ndarray, day: np.ndarray, removal: np.ndarray, failed: bool) -> None:
    """Fit a new pump; strainer and filter go with it, the connector and hose often."""
    luck, number = run.world.luck, run.lives.number[u]
    lost = luck.uniform("lost-change", u, number) < (0.035 if failed or run.shop else 0.0)
    found = strip_down(run, u, day, failed)
    ordered = not (failed or run.shop)  # a policy's own changes are in the books at once
    if not failed:
        run.log.happen(u, day, "change", number, removal)
    run.log.removed(run.fleet, u, day, number, removal, found, lost, failed, ordered)
    run.lives.put(u, lives.born(run.fleet, run.world.kind, u, number + 1, day))
    run.log.fitted(run.fleet, u, day, run.lives.take(u), lost, ordered)
    rows, c = np.nonzero(luck.uniform("with-change", u[:, None], number[:, None], np.arange(8)) < WITH_CHANGE)
    cure(run, u[rows], c, day[rows], np.zeros(rows.size, bool))
    run.complaint[u] = lives.complaint_day(run.fleet, run.world.kind, run.lives.take(u), u)
    run.book.void(u)
    run.base_sum[u], run.base_n[u], run.last[u], run.last_day[u] = 0.0, 0.0, np.nan, np.nan
    shown = luck.uniform("after-repair", u, number) < (0.5 if failed else 0.75)
    k, d = u[shown], day[shown]
    if k.size:
        hurt, level = run.state(k, d)
        told = run.read(k, d, readings.AFTER_REPAIR, hurt, level)
        run.keep(k, d, told)
        run.log.visit(run.fleet, k, d, np.full(k.size, 3), told, run.lives.number[k])


def strip_down(run: Run, u: np.ndarray, day: np.ndarray, failed: bool) -> np.ndarray:
    """What is found on the bench: 0 worn, 1 seized, 2 electrical, 3 tested good, 4 not examined."""
    luck, number = run.world.luck, run.lives.number[u]
    hurt, _ = run.state(u, day)
    part = hurt / run.lives.level[u]
    main = part.argmax(axis=1)
    worst = part.max(axis=1)
    if failed:
        main = np.where(run.lives.fail_day[u] <= day + 1, run.lives.mechanism[u], main)
        worst = np.where(run.lives.fail_day[u] <= day + 1, 1.0, worst)
    coin = luck.uniform("seized", u, number)
    word = np.array([0, 2, 1, 0, 2, 1, 2])[main]
    word = np.where((main == 2) & (worst < 0.8), 0, word)
    word = np.where((main == 5) & (coin < 0.6), 2, word)
    word = np.where(worst < 0.4, 3, word)
    wrong = luck.uniform("bench-wrong", u, number) < 0.1
    word = np.where(wrong, luck.choice([0.4, 0.1, 0.2, 0.3], "bench-word", u, number), word)
    return np.where(luck.uniform("bench", u, number) < (0.45 if failed else 0.6), word, 4)


def cure(run: Run, u, cause, day, told) -> None:
    """The cause goes; a service row where told."""
    if not u.size:
        return
    causes.renew(run.fleet, run.world.arrivals, run.beside, u, cause, day)
    rows = cause == FILTER
    run.beside.filter_km[u[rows]] = run.fleet.km.at(u[rows], day[rows])
    run.log.service(run.fleet, u[told], day[told], cause[told])
