"""Policies over the whole fleet: each type at its own prices and interval, weighed by its distance."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analytics.cost_review.age_replacement import cost_per_distance
from analytics.cost_review.groups import WITHOUT_READINGS, Group, captured, total
from analytics.cost_review.type_lives import TypeLives
from analytics.money.policies import AGE, POLICIES, RISK, RUN, Events
from analytics.past.normal import Z_80

METHOD_VERSION = 7  # of what costs.CostReview has from simulated policies and of pumps taken off
RATIOS = np.array([1.0, 1.25, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10])
TABLE_COLUMNS = (
    "policy", "cost", "cost_low", "cost_high", "renewal_cost", "replacements", "planned", "breakdowns",
    "captures", "capture_cost", "needless", "saving", "saving_low", "saving_high", "saving_share",
    "break_even_ratio", "setting_km", "setting_low_km", "setting_high_km",
)  # fmt: skip


@dataclass(frozen=True)
class Record:
    """Running to failure by simulation, with the 80 % range that its lives leave, against the fleet's own
    lives (money per `per_km` km).

    apart: ln of the one over the other; it widens every range of the review, so that the record lies within.
    """

    simulated: float
    recorded: float
    low: float
    high: float

    @property
    def apart(self) -> float:
        """Return ln(simulated/recorded), 0 where either is unknown."""
        if not (self.simulated > 0 and self.recorded > 0):
            return 0.0
        return float(np.log(self.simulated / self.recorded))


def policy_table(
    groups: list[Group], events: list[dict[str, Events]], types: TypeLives, per_km: float
) -> tuple[pd.DataFrame, Record]:
    """Return TABLE_COLUMNS for each policy, money and events per `per_km` km, and the record beside it.

    setting_km: the chosen age, with the least and greatest over the types, for the fixed age alone.
    """
    base = total(groups, events, RUN)
    reach = float(np.exp(Z_80 * life_spread(groups, types)))
    record = Record(
        base * per_km,
        renewal(groups, events, types, RUN) * per_km,
        base * per_km / reach,
        base * per_km * reach,
    )
    spread = whole_spread(groups, types, record)
    rows = []
    for policy in POLICIES:
        cost, paid = total(groups, events, policy), captured(groups, events, policy)
        mean = {
            name: sum(g.weight * getattr(e[policy], name) for g, e in zip(groups, events, strict=True))
            for name in ("planned", "failures", "captures", "needless")
        }
        noise = _noise(groups, events, policy)
        # Lives longer or shorter by a factor make what happens rarer or commoner by it; captures stay.
        sd = np.hypot(spread, noise / max(cost - paid, 1e-12))
        low, high = ((cost - paid) * np.exp(s * Z_80 * sd) + paid for s in (-1, 1))
        saves = saving_range(groups, events, RUN, policy, spread)
        ages = [e[policy].setting for e in events] if policy == AGE else [np.nan]
        known = np.array(ages)[np.isfinite(ages)]
        weights = np.array([g.weight for g in groups])[np.isfinite(ages)] if policy == AGE else None
        rows.append(
            {
                "policy": policy,
                "cost": cost * per_km,
                "cost_low": low * per_km,
                "cost_high": high * per_km,
                "renewal_cost": renewal(groups, events, types, policy) * per_km,
                "replacements": (mean["planned"] + mean["failures"]) * per_km,
                "planned": mean["planned"] * per_km,
                "breakdowns": mean["failures"] * per_km,
                "captures": mean["captures"] * per_km,
                "capture_cost": paid * per_km,
                "needless": mean["needless"] * per_km,
                "saving": (base - cost) * per_km,
                "saving_low": saves[0] * per_km,
                "saving_high": saves[1] * per_km,
                "saving_share": (base - cost) / base if base else 0.0,
                "break_even_ratio": break_even(groups, events, policy),
                "setting_km": float(np.average(known, weights=weights)) if len(known) else np.nan,
                "setting_low_km": float(known.min()) if len(known) else np.nan,
                "setting_high_km": float(known.max()) if len(known) else np.nan,
            }
        )
    return pd.DataFrame(rows, columns=list(TABLE_COLUMNS)), record


def saving_range(
    groups: list[Group], events: list[dict[str, Events]], against: str, policy: str, spread: float
) -> tuple[float, float]:
    """Return the 80 % range of what `policy` saves per km against another."""
    saved = total(groups, events, against) - total(groups, events, policy)
    paid = captured(groups, events, policy) - captured(groups, events, against)
    # The same lives serve all policies, so a saving is no noisier than what the two differ by.
    noise = 0.0 if policy == against else _noise(groups, events, policy)
    ends = sorted(
        (saved + paid) * np.exp(s * Z_80 * spread) - paid + s * Z_80 * noise * np.sign(saved + paid or 1.0)
        for s in (-1, 1)
    )
    return ends[0], ends[1]


def life_spread(groups: list[Group], types: TypeLives) -> float:
    """Return the standard error of the fleet's ln life, the types' errors taken to go together."""
    return sum(g.weight * float(np.sqrt(types.of(g.pump_type).covariance[0, 0])) for g in groups)


def whole_spread(groups: list[Group], types: TypeLives, record: Record) -> float:
    """Return `life_spread` widened by how far simulation and record lie apart."""
    return float(np.hypot(life_spread(groups, types), record.apart))


def _noise(groups: list[Group], events: list[dict[str, Events]], policy: str) -> float:
    """Return the standard error of cost per km from the number of lives simulated (events as Poisson)."""
    var = 0.0
    for g, e in zip(groups, events, strict=True):
        found = e[policy]
        distance = found.mean_km * found.lives
        money = found.planned * g.prices.planned**2 + found.failures * g.prices.failure**2
        var += g.weight**2 * money / distance
    return float(np.sqrt(var))


def renewal(groups: list[Group], events: list[dict[str, Events]], types: TypeLives, policy: str) -> float:
    """Return cost per km in closed form from the Weibull fits, at the ages that the policy has, for the
    policies that have one."""
    if policy not in WITHOUT_READINGS:
        return np.nan
    cost = 0.0
    for g, e in zip(groups, events, strict=True):
        life, age = types.of(g.pump_type).life, e[policy].setting
        if np.isfinite(age):
            cost += g.weight * float(cost_per_distance(age, life, g.prices.planned, g.prices.failure))
        else:
            cost += g.weight * g.prices.failure / life.mean
    return cost


def break_even(groups: list[Group], events: list[dict[str, Events]], policy: str) -> float:
    """Return from which ratio of on-failure to planned cost a policy beats running to failure."""
    if policy == RUN:
        return np.nan
    avoided = sum(
        g.weight * (e[RUN].failures - e[policy].failures) for g, e in zip(groups, events, strict=True)
    )
    spent = sum(
        g.weight * (e[policy].cost_per_km(g.prices) - e[policy].failures * g.prices.failure)
        for g, e in zip(groups, events, strict=True)
    )
    planned = sum(g.weight * g.prices.planned for g in groups)
    return spent / avoided / planned if avoided > 0 and planned > 0 else np.inf


def ratio_curve(groups: list[Group], per_km: float) -> pd.DataFrame:
    """Return cost by policy as the ratio of on-failure to planned cost moves, every policy set anew."""
    rows = []
    for ratio in RATIOS:
        priced = [replace(g, prices=replace(g.prices, failure=ratio * g.prices.planned)) for g in groups]
        events = [g.events() for g in priced]
        rows += [
            {"ratio": float(ratio), "policy": policy, "cost": total(priced, events, policy) * per_km}
            for policy in POLICIES
        ]
    return pd.DataFrame(rows)


def pays_from_ratio(curve: pd.DataFrame) -> float:
    """Return from which ratio on the curve the condition rule costs less than every policy without
    readings."""
    wide = curve.pivot_table(index="ratio", columns="policy", values="cost")
    if wide.empty:
        return np.nan
    best = wide[list(WITHOUT_READINGS)].min(axis=1)
    ahead = (best - wide[RISK]).to_numpy(float)
    ratio = wide.index.to_numpy(float)
    for i in range(len(ratio)):
        if ahead[i] > 0 and (ahead[i:] > 0).all():
            if i == 0:
                return float(ratio[0])
            return float(ratio[i - 1] + (ratio[i] - ratio[i - 1]) * -ahead[i - 1] / (ahead[i] - ahead[i - 1]))
    return np.nan
