"""How the choice of policy and the saving of the condition rule move with each price, and with pump life."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from analytics.cost_review.groups import Group, captured, total
from analytics.money.policies import POLICIES, RISK, RUN, Events
from analytics.past.normal import Z_80

SWING = 0.25
DRIVERS = (
    ("failure", "on-failure replacement"),
    ("planned", "planned replacement"),
    ("capture", "labour of a capture"),
    ("follow_up", "follow-up test"),
    ("false_alarm", "needless replacement"),
)
COLUMNS = ("driver", "low", "high", "base", "best_low", "best_high", "best_base")


def tornado(
    groups: list[Group], events: list[dict[str, Events]], spread: float, per_km: float
) -> pd.DataFrame:
    """Return COLUMNS, widest first: what the condition rule saves against running to failure, money per
    `per_km` km, as one input falls (low) or rises (high) by a quarter, or life by its 80 % range, shorter and
    longer; and which policy then costs least (best_low, best_high) against now (best_base). Every policy is
    set anew."""
    base = {policy: total(groups, events, policy) for policy in POLICIES}

    def at(change: dict[str, float]) -> dict[str, float]:
        prices = [
            replace(g.prices, **{n: getattr(g.prices, n) * f for n, f in change.items()}) for g in groups
        ]
        made = [g.events(q) for g, q in zip(groups, prices, strict=True)]
        return {policy: total(groups, made, policy, prices) for policy in POLICIES}

    def life(factor: float) -> dict[str, float]:
        paid = {policy: captured(groups, events, policy) for policy in POLICIES}
        return {policy: (base[policy] - paid[policy]) * factor + paid[policy] for policy in POLICIES}

    rows = [(f"{label} ∓25 %", at({name: 1 - SWING}), at({name: 1 + SWING})) for name, label in DRIVERS]
    rows.append(("pump life, 80 % range", life(np.exp(Z_80 * spread)), life(np.exp(-Z_80 * spread))))
    out = pd.DataFrame(
        [
            (driver, saves(low) * per_km, saves(high) * per_km, saves(base) * per_km, least(low), least(high),
             least(base))
            for driver, low, high in rows
        ],
        columns=list(COLUMNS),
    )  # fmt: skip
    width = (out["high"] - out["low"]).abs()
    return out.loc[width.sort_values(ascending=False, kind="stable").index].reset_index(drop=True)


def saves(cost: dict[str, float]) -> float:
    """Return what the condition rule saves against running to failure."""
    return cost[RUN] - cost[RISK]


def least(cost: dict[str, float]) -> str:
    """Return the policy that costs least; of equals the one that asks for less."""
    return min(POLICIES, key=lambda policy: cost[policy])
