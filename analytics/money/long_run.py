"""What a pump costs per distance in the long run when the cost rule itself decides: the g of decision.py.

Renewal reward: cost per life over distance per life, (Cp·P(changed) + Cf·P(failed)) / E[distance], over lives
simulated from the fitted model (policy_simulation.py) and changed at the first stop where the rule with this
g says so; g is where the two agree. Running to failure or a fixed age would give a larger g, and a rule that
waits too long. g/Cp depends on Cf/Cp alone, so a table over that ratio serves at any prices.
Such lives take the fitted model to be the truth, and no fleet keeps all of what they promise: OPTIMISM of the
saving against running to failure is taken off before it is kept (docs/planning.md tells what was measured).
Sources: Ross 1996 (renewal reward); Makis & Jardine, INFOR 30 (1992) 172-183 (the fixed point).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from analytics.money.cost_book import Prices
from analytics.money.policies import on_risk
from analytics.money.policy_simulation import Asked, SimulatedLives, simulate
from analytics.past.history import History
from analytics.wear_model.model import Parameters
from ingest.trade_numbers import USUAL_INTERVAL_KM

RATIOS = np.array([1.0, 1.25, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 7.0, 10.0, 15.0])  # Cf/Cp
LIVES = 600
LEAST_INTERVAL_KM = 500.0  # between simulated stops
OPTIMISM = 1 / 3  # share of the simulated saving that fleets with causes and damages of their own don't keep
MOST_TYPES = 8  # simulated one by one; the rest follow the fleet's own entry, the last


@dataclass(frozen=True)
class LongRun:
    """`per_km` (types, ratios): g/Cp per km of a type at each Cf/Cp; the last type stands for any other."""

    types: tuple[str, ...]
    per_km: np.ndarray

    def cost_per_km(self, pump_type: pd.Series, planned: np.ndarray, failure: np.ndarray) -> np.ndarray:
        """Return g (n,) in money per km, linear in Cf/Cp between the ratios and beyond the last."""
        row = pd.Index(self.types).get_indexer(pd.Index(pump_type))
        row = np.where(row < 0, len(self.types) - 1, row)
        ratio = np.maximum(failure / np.maximum(planned, 1e-9), 0.0)
        at = np.clip(np.searchsorted(RATIOS, ratio) - 1, 0, len(RATIOS) - 2)
        low, high = self.per_km[row, at], self.per_km[row, at + 1]
        part = (ratio - RATIOS[at]) / (RATIOS[at + 1] - RATIOS[at])
        # Below 1 no change pays: run to failure, whose cost is in proportion to Cf.
        inside = np.where(ratio < 1, ratio * self.per_km[row, 0], low + part * (high - low))
        return planned * inside

    def to_plain(self) -> dict[str, Any]:
        """Return it for storing with the fit."""
        return {"types": list(self.types), "per_km": self.per_km.tolist()}

    @classmethod
    def from_plain(cls, raw: dict[str, Any]) -> LongRun:
        """Read what `to_plain` returned."""
        return cls(tuple(raw["types"]), np.array(raw["per_km"], float))


def learn_long_run(history: History, p: Parameters) -> LongRun:
    """Work out g for each type in service at its usual PM interval on the pump's own clock."""
    pumps = history.pumps[~history.pumps["removed"].to_numpy(bool)]
    share = (pumps["km_per_day"] / pumps["unit_km_per_day"].clip(lower=1e-9)).fillna(1.0)
    interval = pumps["pm_interval_km"].astype(float).fillna(USUAL_INTERVAL_KM) * share
    usual = interval.groupby(pumps["pump_type"]).median()
    most = pumps["pump_type"].value_counts().index[:MOST_TYPES]
    everyone = float(interval.median()) if len(interval) else USUAL_INTERVAL_KM
    types = (*map(str, most), "")
    intervals_km = [max(float(km), LEAST_INTERVAL_KM) for km in (*usual[most], everyone)]
    codes = [int(code) for code in p.type_codes(pd.Series(types))]
    lives = simulate(p, [Asked(of, km, LIVES, 7) for of, km in zip(codes, intervals_km, strict=True)])
    return LongRun(types, np.array([_by_ratio(of) for of in lives]))


def _by_ratio(lives: SimulatedLives) -> np.ndarray:
    simulated = np.array([on_risk(lives, _prices(r)).cost_per_km(_prices(r)) for r in RATIOS])
    to_failure = RATIOS * simulated[0]  # where a failure costs no more, none is changed before it
    return simulated + OPTIMISM * (to_failure - simulated)


def _prices(ratio: float) -> Prices:
    return Prices(1.0, ratio, capture=0, follow_up=0, false_alarm=0, labour_per_hour=0, placeholders=())
