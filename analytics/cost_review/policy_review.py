"""Policies over the whole fleet: each type at its own prices and interval, weighed by its distance."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from analytics.cost_review.age_replacement import best_age
from analytics.cost_review.type_lives import TypeLives
from analytics.money import policies
from analytics.money.cost_book import CostBook, Prices
from analytics.money.policies import AGE, POLICIES, RISK, RUN, Events
from analytics.money.policy_simulation import SimulatedLives, simulate_lives
from analytics.past.history import History
from analytics.past.normal import Z_80
from analytics.wear_model.model import Parameters
from ingest.trade_numbers import USUAL_INTERVAL_KM

MOST_TYPES = 6  # simulated one by one; the rest follow the commonest
RATIOS = np.array([1.0, 1.25, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10])
SWING = 0.25


@dataclass(frozen=True)
class Group:
    """Pumps of one type in service, `weight` their share of the fleet's distance."""

    pump_type: str
    weight: float
    lives: SimulatedLives
    prices: Prices


@dataclass(frozen=True)
class PolicyReview:
    """Frames of costs.CostReview: `table`, `ratio_curve`, `tornado`."""

    table: pd.DataFrame
    ratio_curve: pd.DataFrame
    tornado: pd.DataFrame


def review_policies(
    history: History,
    p: Parameters,
    types: TypeLives,
    book: CostBook,
    limits: pd.DataFrame,
    settings: dict[str, Any],
    lives: int,
    per_km: float,
) -> PolicyReview:
    """Compare the policies on this fleet's types, prices and intervals; money per `per_km` km."""
    groups = make_groups(history, p, book, limits, settings, lives)
    if not groups:
        columns = ["policy", "cost", "cost_low", "cost_high", "renewal_cost", "saving_low"]
        none = pd.DataFrame(columns=columns)
        return PolicyReview(
            none,
            pd.DataFrame(columns=["ratio", "policy", "cost"]),
            pd.DataFrame(columns=["driver", "low", "high", "base"]),
        )
    events = [policies.compare(g.lives, g.prices) for g in groups]
    return PolicyReview(
        _table(groups, events, types, per_km),
        _ratio_curve(groups, per_km),
        _tornado(groups, events, types, per_km),
    )


def make_groups(
    history: History,
    p: Parameters,
    book: CostBook,
    limits: pd.DataFrame,
    settings: dict[str, Any],
    lives: int,
) -> list[Group]:
    """Simulate each type in service at its usual interval, on its pumps' mean prices."""
    pumps = history.pumps[~history.pumps["removed"].to_numpy(bool)]
    if pumps.empty:
        return []
    share = pumps.groupby("pump_type")["km_per_day"].sum().sort_values(ascending=False)
    share = share.head(MOST_TYPES) / share.head(MOST_TYPES).sum()
    rng = np.random.default_rng(7)
    spec = limits.set_index("pump_type")
    groups = []
    for name, weight in share.items():
        mine = pumps[pumps["pump_type"] == name]
        ratio = mine["km_per_day"] / mine["unit_km_per_day"].clip(lower=1e-9)
        interval = float((mine["pm_interval_km"].fillna(USUAL_INTERVAL_KM) * ratio).median())
        row: pd.Series = spec.T[name] if name in spec.index else pd.Series(dtype=float)
        ripple = _number(row, "ripple_limit_pct", float(settings["ripple_limit_pct"]))
        low, high = _number(row, "current_low_a", np.nan), _number(row, "current_high_a", np.nan)
        # The load channel is torque: over the specified high end from the middle of the band.
        load = float(np.log(2 * high / (low + high))) if 0 < low < high else float(np.log(1.3))
        code = int(p.type_codes(pd.Series([name]))[0])
        made = simulate_lives(p, code, interval, ripple, load, lives, rng)
        groups.append(Group(str(name), float(weight), made, _mean_prices(mine, book)))
    return groups


def _number(row: pd.Series, name: str, default: float) -> float:
    value = row.get(name, np.nan)
    return default if value is None or pd.isna(value) else float(value)


def _mean_prices(pumps: pd.DataFrame, book: CostBook) -> Prices:
    kinds = pumps.groupby(["class", "depot"], dropna=False).size()
    made = []
    pairs: Any = kinds.items()
    for (vehicle_class, depot), count in pairs:
        made.append((book.prices(_text(vehicle_class), _text(depot), str(pumps["pump_type"].iloc[0])), count))
    total = float(kinds.sum())
    names = ("planned", "failure", "capture", "follow_up", "false_alarm", "labour_per_hour")
    means = {name: sum(getattr(q, name) * n for q, n in made) / total for name in names}
    return Prices(**means, placeholders=tuple(sorted({x for q, _ in made for x in q.placeholders})))


def _text(value: Any) -> str | None:
    return value if isinstance(value, str) else None


def _total(
    groups: list[Group], events: list[dict[str, Events]], policy: str, prices: list[Prices] | None = None
) -> float:
    prices = prices or [g.prices for g in groups]
    return sum(g.weight * e[policy].cost_per_km(q) for g, e, q in zip(groups, events, prices, strict=True))


def _table(
    groups: list[Group], events: list[dict[str, Events]], types: TypeLives, per_km: float
) -> pd.DataFrame:
    spread = _life_spread(groups, types)
    base = _total(groups, events, RUN)
    rows = []
    for policy in POLICIES:
        cost = _total(groups, events, policy)
        mean = {
            name: sum(g.weight * getattr(e[policy], name) for g, e in zip(groups, events, strict=True))
            for name in ("planned", "failures", "captures", "needless")
        }
        noise = _noise(groups, events, policy)
        # Lives longer or shorter by a factor make what happens rarer or commoner by it; captures stay.
        captured = sum(
            g.weight * e[policy].captures * g.prices.capture for g, e in zip(groups, events, strict=True)
        )
        sd = np.hypot(spread, noise / max(cost - captured, 1e-12))
        low, high = ((cost - captured) * np.exp(s * Z_80 * sd) + captured for s in (-1, 1))
        saved, saving_noise = base - cost, _saving_noise(groups, events, policy)
        saves = sorted(
            (saved + captured) * np.exp(s * Z_80 * spread) - captured + s * Z_80 * saving_noise
            for s in (-1, 1)
        )
        to_failure = [e[RUN] for e in events]
        rows.append(
            {
                "policy": policy,
                "cost": cost * per_km,
                "cost_low": low * per_km,
                "cost_high": high * per_km,
                "renewal_cost": _renewal(groups, types, policy) * per_km,
                "replacements": (mean["planned"] + mean["failures"]) * per_km,
                "planned": mean["planned"] * per_km,
                "breakdowns": mean["failures"] * per_km,
                "captures": mean["captures"] * per_km,
                "needless": mean["needless"] * per_km,
                "saving": saved * per_km,
                "saving_low": saves[0] * per_km,
                "saving_high": saves[1] * per_km,
                "saving_share": saved / base if base else 0.0,
                "break_even_ratio": _break_even(groups, events, to_failure, policy),
                "setting_km": np.average(
                    [e[policy].setting for e in events], weights=[g.weight for g in groups]
                )
                if policy == AGE
                else np.nan,
            }
        )  # fmt: skip
    return pd.DataFrame(rows)


def _life_spread(groups: list[Group], types: TypeLives) -> float:
    """Return the standard error of the fleet's ln life, the types' errors taken to go together."""
    return sum(g.weight * float(np.sqrt(types.of(g.pump_type).covariance[0, 0])) for g in groups)


def _noise(groups: list[Group], events: list[dict[str, Events]], policy: str) -> float:
    """Return the standard error of cost per km from the number of lives simulated (events as Poisson)."""
    total = 0.0
    for g, e in zip(groups, events, strict=True):
        found = e[policy]
        distance = found.mean_km * found.lives
        var = (found.planned * g.prices.planned**2 + found.failures * g.prices.failure**2) / distance
        total += g.weight**2 * var
    return float(np.sqrt(total))


def _saving_noise(groups: list[Group], events: list[dict[str, Events]], policy: str) -> float:
    """The same lives serve all policies, so a saving is no noisier than what the two differ by."""
    return 0.0 if policy == RUN else _noise(groups, events, policy)


def _renewal(groups: list[Group], types: TypeLives, policy: str) -> float:
    """Return cost per km in closed form from the Weibull fits, for the policies that have one."""
    if policy not in (RUN, AGE):
        return np.nan
    total = 0.0
    for g in groups:
        life = types.of(g.pump_type).life
        if g.prices.planned <= 0 or policy == RUN:
            total += g.weight * g.prices.failure / life.mean
        else:
            total += g.weight * best_age(life, g.prices.planned, g.prices.failure).cost
    return total


def _break_even(
    groups: list[Group], events: list[dict[str, Events]], to_failure: list[Events], policy: str
) -> float:
    if policy == RUN:
        return np.nan
    avoided = sum(
        g.weight * (t.failures - e[policy].failures)
        for g, e, t in zip(groups, events, to_failure, strict=True)
    )
    spent = sum(
        g.weight * (e[policy].cost_per_km(g.prices) - e[policy].failures * g.prices.failure)
        for g, e in zip(groups, events, strict=True)
    )
    planned = sum(g.weight * g.prices.planned for g in groups)
    return spent / avoided / planned if avoided > 0 and planned > 0 else np.inf


def _ratio_curve(groups: list[Group], per_km: float) -> pd.DataFrame:
    """Return cost by policy as the ratio of on-failure to planned cost moves, every policy set anew."""
    rows = []
    for ratio in RATIOS:
        priced = [replace(g, prices=replace(g.prices, failure=ratio * g.prices.planned)) for g in groups]
        events = [policies.compare(g.lives, g.prices) for g in priced]
        rows += [
            {"ratio": float(ratio), "policy": policy, "cost": _total(priced, events, policy) * per_km}
            for policy in POLICIES
        ]
    return pd.DataFrame(rows)


def _tornado(
    groups: list[Group], events: list[dict[str, Events]], types: TypeLives, per_km: float
) -> pd.DataFrame:
    """Return what the risk policy saves as one input moves by a quarter, or life by its 80 % range."""

    def saving(change: dict[str, float]) -> float:
        prices = [
            replace(g.prices, **{n: getattr(g.prices, n) * f for n, f in change.items()}) for g in groups
        ]
        made = [
            {RUN: e[RUN], RISK: policies.on_risk(g.lives, q)}
            for g, e, q in zip(groups, events, prices, strict=True)
        ]
        return (_total(groups, made, RUN, prices) - _total(groups, made, RISK, prices)) * per_km

    base = (_total(groups, events, RUN) - _total(groups, events, RISK)) * per_km
    rows = []
    for name, label in (
        ("failure", "on-failure replacement"),
        ("planned", "planned replacement"),
        ("capture", "labour of a capture"),
        ("follow_up", "follow-up test"),
        ("false_alarm", "needless replacement"),
    ):
        rows.append(
            {"driver": f"{label} ∓25 %", "low": saving({name: 1 - SWING}), "high": saving({name: 1 + SWING})}
        )
    spread = _life_spread(groups, types)
    captured = (
        sum(g.weight * e[RISK].captures * g.prices.capture for g, e in zip(groups, events, strict=True))
        * per_km
    )
    shorter, longer = ((base + captured) * np.exp(s * Z_80 * spread) - captured for s in (1, -1))
    rows.append({"driver": "pump life, 80 % range", "low": shorter, "high": longer})
    out = pd.DataFrame(rows).assign(base=base)
    width = (out["high"] - out["low"]).abs()
    return out.loc[width.sort_values(ascending=False).index].reset_index(drop=True)
