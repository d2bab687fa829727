"""How often to capture, as a decision: what the condition rule costs and saves by the distance between
captures, and how far ahead of a failure it warns.

Each type's lives are simulated once more for each interval, from the same seed, so that intervals differ by
what they show and not by luck. The saving at an interval is against running to failure on the same lives. The
warning distance is how far before its failure the rule first calls for a change, read twice as often as the
fleet does; the usual rule of inspection is to look at least twice within it (half the interval from the first
sign to the failure: common practice, no source).
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analytics.cost_review.groups import Group, Simulation, lives_of
from analytics.money import policies
from analytics.money.policies import on_rule, run_to_failure
from analytics.money.policy_simulation import SimulatedLives

TIMES = (0.5, 1.0, 1.5, 2.0, 3.0, 4.0)  # the fleet's own interval
LIVES = 600
ABOUT = 0.02  # savings nearer than this share are as good; of such intervals the shortest warns soonest
ALL = "all types"
COLUMNS = (
    "pump_type", "times", "interval_km", "cost", "capture_cost", "saving", "breakdowns", "is_own", "is_best",
)  # fmt: skip
WARNING_COLUMNS = (
    "pump_type", "interval_km", "warning_p10_km", "warning_p50_km", "warning_p90_km", "without_warning",
    "at_most_km", "within_rule",
)  # fmt: skip


def by_interval(
    pairs: list[tuple[Group, Simulation]], per_km: float, lives: int = LIVES
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return (intervals, warnings).

    intervals: COLUMNS for each type and for ALL, the types weighed by their distance; money and breakdowns
    per `per_km` km under the condition rule, saving against running to failure; is_own: the interval the
    fleet has, at which the figures are those of the policies; is_best: the shortest of those that save most,
    to ABOUT. warnings: WARNING_COLUMNS by type; quantiles over the failures that are warned of;
    without_warning: share of failures that come unannounced; at_most_km: half the median.
    """
    rows, warned = [], []
    read = tuple((simulation, times * group.interval_km) for group, simulation in pairs for times in TIMES)
    simulated = iter(lives_of(read, lives))
    for group, _ in pairs:
        at = {times: next(simulated) for times in TIMES}
        g = group.cost_per_km()
        # What an interval changes is told by lives of its own; today's figures are those of the policies.
        now, then = (_figures(made, group, g, per_km) for made in (group.lives, at[1.0]))
        for times, made in at.items():
            here = _figures(made, group, g, per_km)
            rows.append(
                {"pump_type": group.pump_type, "times": times, "interval_km": times * group.interval_km}
                | {name: here[name] + now[name] - then[name] for name in here}
                | {"weight": group.weight}
            )
            if times == TIMES[0]:
                warned.append(_warning(group, policies.warning_km(made, group.prices, g)))
    table = pd.DataFrame(rows)
    if table.empty:
        return pd.DataFrame(columns=list(COLUMNS)), pd.DataFrame(columns=list(WARNING_COLUMNS))
    table = pd.concat([_weighed(table), table], ignore_index=True)
    table["is_own"] = table["times"] == 1.0
    most = table.groupby("pump_type")["saving"].transform("max")
    near = table["saving"] >= most - ABOUT * most.abs()
    shortest = table["times"].where(near).groupby(table["pump_type"]).transform("min")
    table["is_best"] = table["times"] == shortest
    return table[list(COLUMNS)], pd.DataFrame(warned, columns=list(WARNING_COLUMNS))


def _figures(lives: SimulatedLives, group: Group, g: float, per_km: float) -> dict[str, float]:
    """Return what the condition rule costs and saves on these lives, per `per_km` km."""
    rule, run = on_rule(lives, group.prices, g), run_to_failure(lives)
    cost = rule.cost_per_km(group.prices) * per_km
    return {
        "cost": cost,
        "capture_cost": rule.captures * group.prices.capture * per_km,
        "saving": run.cost_per_km(group.prices) * per_km - cost,
        "breakdowns": rule.failures * per_km,
    }


def _weighed(table: pd.DataFrame) -> pd.DataFrame:
    names = ["interval_km", "cost", "capture_cost", "saving", "breakdowns"]
    parts = table[names].mul(table["weight"], axis=0).assign(times=table["times"])
    return parts.groupby("times", as_index=False).sum().assign(pump_type=ALL)


def _warning(group: Group, km: np.ndarray) -> dict:
    ahead = km[km > 0]
    p10, p50, p90 = np.quantile(ahead, [0.1, 0.5, 0.9]) if len(ahead) else (np.nan,) * 3
    return {
        "pump_type": group.pump_type,
        "interval_km": group.interval_km,
        "warning_p10_km": float(p10),
        "warning_p50_km": float(p50),
        "warning_p90_km": float(p90),
        "without_warning": float((km <= 0).mean()),
        "at_most_km": float(p50) / 2,
        "within_rule": bool(group.interval_km <= p50 / 2),
    }
