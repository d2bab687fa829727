"""What to do about a pump, in money: nothing, check, check and change, or change; now, at an extra stop, or
at its next planned stop. One function for rank, plan, log and pages; risks come in as arrays.

Everything is counted as what it costs more than a new pump in place today, so that the long-run cost g of a
distance pays for every kilometre got out of the old pump. With ρ the chance of failing before the stop at a
distance a, Cp and Cf the two replacements with their comebacks,

    J = ρ·Cf + (1 − ρ)·W − g·∫₀^a S + (the stop's own price),

    W of nothing           keep: what the pump in place costs if it runs on
         change            Cp
         check and change  A + T·(b·B + back + keep if sound − spared) + F·(b·B + back + keep if bad)
                           + (1 − T − F)·Cp
         check             A + B·(1 − T + b·T) + T·(keep if sound − spared)
                           + (1 − T)·min(keep if unexplained, Cp + stop)

with A and B the labour of the tank closed and open (B is part of a change), T = q(1 − m) the chance that the
check names the cause beside the pump that is there (chance q, missed with m), F = (1 − q)·f a false name that
holds, b the share of names that need the tank open, `back` the part that goes back, `spared` the breakdowns
that such a cause would have brought. `keep` is the least of Cf·F(d) + Cp·S(d) − g·∫₀^d S over all later stops
d: it holds the life that a change would throw away. Where a cause beside the pump was measured or seen and
is not mended, the check mends it: L + keep − Z, with L the labour of the tank closed or open, as that cause
lies, and Z the breakdowns it would have brought, which a check and change spares as well (its T counts for
the rest). The cheapest option is chosen; a class's risk ceiling
overrides cost, and nothing is changed for a new pump that is no safer.
Sources: Makis & Jardine, INFOR 30 (1992) 172-183 (condition-based replacement); Ross 1996 (renewal reward).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import special

METHOD_VERSION = 16  # of decision, plan and cost review: raise with every change of their figures
NOTHING, CHECK, CHECK_AND_CHANGE, CHANGE = range(4)
JOBS = ("nothing", "check", "check and change", "change")
NOW, EXTRA, NEXT_STOP = range(3)
TIMES = ("now", "extra stop", "next stop")
ON_COST, ON_CEILING, NOT_SAFER, NOT_YET = "cost", "risk ceiling", "a new pump is no safer", "not yet worth it"
FAILED, FINDING_OPEN = "failed", "the finding is not finished"
BORNE_OUT = (
    -0.2,
    2.6,
)  # logit that a change is borne out where it saves nothing, and per its own price saved
NO_DELIVERY = "it does not deliver, and nothing else explains it"
NO_FUEL = "the engine may get no fuel"
CAUSE_FOUND = "a cause beside the pump was found"
Numbers = np.ndarray | float


@dataclass(frozen=True)
class Work:
    """What work costs, in money; each one number or (n,). A planned change holds the tank opened once."""

    planned: Numbers
    failure: Numbers
    check_closed: Numbers = 40.0
    check_open: Numbers = 80.0
    extra_stop: Numbers = 60.0
    part_returned: Numbers = 25.0
    comeback: Numbers = 1500.0
    other_breakdown: Numbers = 900.0
    comeback_share: float = 0.02

    @property
    def change(self) -> Numbers:
        """A planned change with the comebacks it brings."""
        return self.planned + self.comeback_share * self.comeback

    @property
    def fail(self) -> Numbers:
        """A failure with the comebacks of the change after it."""
        return self.failure + self.comeback_share * self.comeback


@dataclass(frozen=True)
class Skill:
    """What a check is worth, as shares: causes that are there and missed (one number or (n,)), names of
    causes that aren't there and that the reading after seems to bear out, names that need the tank open,
    causes that would break down.
    """

    miss: Numbers = 0.2
    false_name: float = 0.05
    tank_open: float = 0.5
    breaks: float = 0.3


@dataclass(frozen=True)
class Outlook:
    """What lies before n pumps; distances on the pump's own clock in km, all (n,) or (n, 3) over TIMES.

    risk, lived_km (n, 3): chance of failing before each time of work, and distance run until then (now: 0).
    open_at (n, 3): bool, whether the job could be done then. keep (n, 3): what the pump in place costs from
    there if it runs on (`keep_cost`), on average over what is not known; keep_sound (n,): the same where a
    cause beside the pump explains its readings. beside (n,): chance of that. cost_per_km (n,): g. found (n,):
    chance that one is there, measured or seen and not mended, whatever explains the readings; in_tank (n,):
    bool, whether to mend it the tank is opened. left_to_fail (n,): what it costs if nobody ever changes it
    before it fails or its vehicle goes, which the choice does not rest on.
    """

    risk: np.ndarray
    lived_km: np.ndarray
    open_at: np.ndarray
    keep: np.ndarray
    keep_sound: np.ndarray
    beside: np.ndarray
    cost_per_km: np.ndarray
    found: Numbers = 0.0
    in_tank: np.ndarray | bool = False
    left_to_fail: Numbers = np.nan


def on_the_day(p_change: np.ndarray | pd.Series, risk_until_then: np.ndarray | pd.Series) -> np.ndarray:
    """Return the chance that a job ends in a change where the pump lives to see its day, as sentences say it
    beside the risk until then, (n,)."""
    risk = np.asarray(risk_until_then, float)
    return np.minimum(np.asarray(p_change, float) / np.where(risk < 1, 1 - risk, 1.0), 1.0)


@dataclass(frozen=True)
class Decision:
    """For n pumps: job and time (codes of JOBS and TIMES), cost of the choice and of nothing, p_change
    (chance that a change follows), because, there (what the job costs at its stop, W), all (n,); options: J
    of each (n, jobs, times), NaN where not open.
    """

    job: np.ndarray
    time: np.ndarray
    cost: np.ndarray
    cost_of_nothing: np.ndarray
    p_change: np.ndarray
    because: np.ndarray
    there: np.ndarray
    options: np.ndarray

    @property
    def saving(self) -> np.ndarray:
        """Money saved by the choice against doing nothing, (n,)."""
        return self.cost_of_nothing - self.cost

    @property
    def acts(self) -> np.ndarray:
        """Whether anything is to be done, (n,)."""
        return self.job != NOTHING


def decide(
    outlook: Outlook,
    work: Work,
    skill: Skill = Skill(),
    *,
    over_ceiling: np.ndarray | bool = False,
    safer: np.ndarray | bool = True,
    failed: np.ndarray | bool = False,
    starves: np.ndarray | bool = False,
    may_change: np.ndarray | bool = True,
    looked_at: np.ndarray | bool = False,
    idle: np.ndarray | bool = False,
    read_now: np.ndarray | bool = False,
    least_saving: np.ndarray | float = 0.0,
) -> Decision:
    """Return the cheapest job and time for each pump (module docstring).

    over_ceiling: its class's risk ceiling is passed, so that it is changed at the first time there is; safer:
    a new pump would be safer, else none is changed; failed: it no longer works, so it is changed at once;
    starves: it is proven not to deliver, so it is changed at the first time there is, whatever its risk;
    may_change: False where the fleet demands a finished finding first and it is not: checks only;
    looked_at: its check is done, so that a change waits for no other reading;
    idle: by its last reading the engine may get no fuel and nobody knows why, so it is checked at the first
    time there is, whatever its risk, and nothing is changed before.
    read_now: the reading that a change in the bay would ask for first is the one it stands on;
    least_saving: money that work must save to be ordered: less is within the error of any forecast.
    """
    n = len(outlook.beside)
    over, safe, out, dry, may, seen, no_fuel, mends, read = (
        np.broadcast_to(x, n).astype(bool)
        for x in (over_ceiling, safer, failed, starves, may_change, looked_at, idle, outlook.found, read_now)
    )
    no_fuel = no_fuel & ~out & ~dry
    safe, may = safe | dry, may | dry
    there = costs_there(outlook, work, skill)
    cost = option_costs(outlook, work, there)
    cost[~safe & ~out, CHECK_AND_CHANGE:] = np.nan
    cost[~may & ~out, CHECK_AND_CHANGE:] = np.nan
    # Where no cause beside the pump is left to be named a check only puts off: free, it would do so for ever.
    cost[(outlook.beside <= 0) & may & ~no_fuel & ~mends, CHECK] = np.nan
    cost[no_fuel & ~seen, CHECK_AND_CHANGE:] = np.nan
    forced = (over & safe & may & ~no_fuel) | out | dry
    ranked = np.where(np.isnan(cost), np.inf, cost)
    # Over its ceiling a pump is worked on at the first time there is. A failed one needs no check, nor one
    # whose checks are passed.
    first = np.where(outlook.open_at.any(axis=1), outlook.open_at.argmax(axis=1), NEXT_STOP)
    late = (forced | no_fuel)[:, None, None] & (np.arange(3)[None, None, :] != first[:, None, None])
    ranked = np.where(late, np.inf, ranked)
    ranked[forced, :CHECK_AND_CHANGE] = np.inf
    ranked[out | dry, CHECK_AND_CHANGE] = np.inf
    # Nor is a pump changed for so little where mending what was found, and a reading after it, comes first.
    least = np.broadcast_to(least_saving, n)
    ranked[:, CHECK_AND_CHANGE:] += np.where(mends & ~forced, least, 0.0)[:, None, None]
    left = ranked[:, NOTHING, NEXT_STOP] - least
    ranked[:, NOTHING, NEXT_STOP] = np.where(forced | no_fuel, np.inf, left)
    best = ranked.reshape(n, len(JOBS) * len(TIMES)).argmin(axis=1)  # n may be 0
    job = best // 3
    time = np.where(job == NOTHING, NEXT_STOP, best % 3)
    row = np.arange(n)
    nothing = cost[:, NOTHING, NEXT_STOP]
    named, held = check_outcomes(outlook.beside, skill)
    changes = np.select(
        [job == CHANGE, job == CHECK_AND_CHANGE, job == CHECK],
        [1.0, 1 - named - held, (1 - named) * _unexplained_goes(outlook, work, skill)[row, time] * ~mends],
        0.0,
    )
    told = seen | (read & (time == NOW) & (job == CHANGE))
    waits = (job >= CHECK_AND_CHANGE) & ~out & ~dry & ~told
    changes = changes * np.where(waits, borne_out(nothing - cost[row, job, time], work.planned), 1.0)
    p_change = changes * np.where(out, 1.0, 1 - outlook.risk[row, time])
    because = np.select(
        [
            out,
            dry,
            no_fuel & (job != NOTHING),
            mends & (job == CHECK),
            ~safe,
            ~may & (job == CHECK),
            forced & (job != NOTHING),
            job != NOTHING,
        ],
        [FAILED, NO_DELIVERY, NO_FUEL, CAUSE_FOUND, NOT_SAFER, FINDING_OPEN, ON_CEILING, ON_COST],
        NOT_YET,
    )
    return Decision(job, time, cost[row, job, time], nothing, p_change, because, there[row, job, time], cost)


def costs_there(outlook: Outlook, work: Work, skill: Skill = Skill()) -> np.ndarray:
    """Return W of every job at every time, (n, jobs, times)."""
    n = len(outlook.beside)
    change, closed, opened, stop, back, other = (
        np.broadcast_to(x, n)[:, None]
        for x in (work.change, work.check_closed, work.check_open, work.extra_stop, work.part_returned,
                  work.other_breakdown)
    )  # fmt: skip
    named, held = (x[:, None] for x in check_outcomes(outlook.beside, skill))
    sound, bad = np.broadcast_to(outlook.keep_sound[:, None], (n, 3)), keep_bad(outlook)
    mended = sound - skill.breaks * other
    stays = skill.tank_open * opened
    unexplained = np.minimum(keep_unexplained(outlook, skill), change + stop)
    check = closed + opened * (1 - named) + stays * named + named * mended + (1 - named) * unexplained
    both = (
        closed + named * (stays + back + mended) + held * (stays + back + bad) + (1 - named - held) * change
    )
    found, in_tank = (np.broadcast_to(x, n)[:, None] for x in (outlook.found, outlook.in_tank))
    both = both - np.maximum(found - named, 0) * skill.breaks * other
    mend = np.where(in_tank, opened, closed) + outlook.keep - found * skill.breaks * other
    check = np.where(found > 0, mend, check)
    return np.stack([outlook.keep, check, both, np.broadcast_to(change, (n, 3))], axis=1)


def option_costs(outlook: Outlook, work: Work, there: np.ndarray) -> np.ndarray:
    """Return J of every job and time, (n, jobs, times); NaN where not open; nothing has one time."""
    n = len(outlook.beside)
    fail, stop = np.broadcast_to(work.fail, n)[:, None, None], np.broadcast_to(work.extra_stop, n)[:, None]
    risk, lived = outlook.risk[:, None, :], outlook.lived_km[:, None, :]
    cost = risk * fail + (1 - risk) * there - outlook.cost_per_km[:, None, None] * lived
    cost[:, CHECK:, EXTRA] += stop
    cost[:, CHECK:] = np.where(outlook.open_at[:, None, :], cost[:, CHECK:], np.nan)
    cost[:, NOTHING, [NOW, EXTRA]] = np.nan
    return cost


def borne_out(saving: Numbers, planned: Numbers) -> np.ndarray:
    """Return the chance that the reading at its stop still calls for a change ordered ahead, (n,).

    saving: what the change saves against doing nothing; planned: what it costs; in money. A logistic curve of
    their ratio, fitted on invented fleets (docs/planning.md): no evidence for a real one.
    """
    share = np.maximum(np.asarray(saving, float), 0.0) / np.maximum(np.asarray(planned, float), 1e-9)
    at_none, per_share = BORNE_OUT
    return np.asarray(special.expit(at_none + per_share * share))


def check_outcomes(beside: np.ndarray, skill: Skill) -> tuple[np.ndarray, np.ndarray]:
    """Return the chance that a check names a cause that is there, and that a false name stops it."""
    return beside * (1 - skill.miss), (1 - beside) * skill.false_name


def keep_bad(outlook: Outlook) -> np.ndarray:
    """Return what keeping costs where no cause beside the pump explains its readings, (n, 3)."""
    q = np.minimum(outlook.beside, 0.95)[:, None]
    return (outlook.keep - q * outlook.keep_sound[:, None]) / (1 - q)


def keep_unexplained(outlook: Outlook, skill: Skill) -> np.ndarray:
    """Return what keeping costs after a check that found nothing, (n, 3): a cause may have been missed."""
    left = outlook.beside * skill.miss / np.maximum(1 - outlook.beside * (1 - skill.miss), 1e-9)
    return left[:, None] * outlook.keep_sound[:, None] + (1 - left[:, None]) * keep_bad(outlook)


def _unexplained_goes(outlook: Outlook, work: Work, skill: Skill) -> np.ndarray:
    dear = np.broadcast_to(work.change + work.extra_stop, len(outlook.beside))
    return (keep_unexplained(outlook, skill) > dear[:, None]).astype(float)


def keep_cost(
    grid_km: np.ndarray,
    survival: np.ndarray,
    from_km: np.ndarray,
    least_km: np.ndarray,
    change: Numbers,
    fail: Numbers,
    cost_per_km: np.ndarray,
) -> np.ndarray:
    """Return what a pump costs from `from_km` (n,) on if it runs at least `least_km` farther, (n,).

    The least of Cf·F(d) + Cp·S(d) − g·∫S over distances d on the grid (m,), given that it still runs at
    `from_km`; survival (n, m) from today. Beyond the grid it is taken to fail.
    """
    lived = lived_km(grid_km, survival)
    per_km = np.asarray(cost_per_km, float)
    gap = np.broadcast_to(np.asarray(fail, float) - change, len(survival))
    ahead = -gap[:, None] * survival - per_km[:, None] * lived
    least = np.minimum.accumulate(ahead[:, ::-1], axis=1)[:, ::-1]
    best = np.minimum(
        curve_at(ahead, grid_km, from_km + least_km), _next_least(least, grid_km, from_km + least_km)
    )
    survives = np.maximum(curve_at(survival, grid_km, from_km), 1e-9)
    return np.asarray(fail, float) + (best + per_km * curve_at(lived, grid_km, from_km)) / survives


def lived_km(grid_km: np.ndarray, survival: np.ndarray) -> np.ndarray:
    """Return ∫₀^d S on the grid, (n, m), by trapezoids."""
    steps = np.diff(grid_km) * (survival[:, 1:] + survival[:, :-1]) / 2
    return np.concatenate([np.zeros((len(survival), 1)), np.cumsum(steps, axis=1)], axis=1)


def curve_at(curves: np.ndarray, grid: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Return each curve (n, m) at its own distance (n,), or distances (n, k), by straight lines between grid
    points."""
    after = np.clip(np.searchsorted(grid, at, side="right"), 1, len(grid) - 1)
    part = np.clip((at - grid[after - 1]) / (grid[after] - grid[after - 1]), 0, 1)
    row = np.arange(len(curves)).reshape(-1, *[1] * (np.ndim(at) - 1))
    return curves[row, after - 1] * (1 - part) + curves[row, after] * part


def _next_least(least: np.ndarray, grid: np.ndarray, at: np.ndarray) -> np.ndarray:
    after = np.clip(np.searchsorted(grid, at, side="left"), 0, len(grid) - 1)
    return least[np.arange(len(least)), after]
