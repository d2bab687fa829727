"""What each pump taken off unfailed would still have run, and its risk then, given its own readings.

The filters stand at the pump's last reading on or before its removal, as in service. The distance given up
and the risk before its next stop come from the same lives, drawn from there (life_left.py): the distance is
the mean of those that agree with the strip-down, to the vehicle's retirement at most; the risk is that of the
day, before it. The draws lean toward damage as far as strip-downs of the fleet show that pumps are taken off
for more than their readings tell. Its type's mean life says nothing of this pump, which was taken off for
what it showed. The constants are those of today's fit: what the fleet has shown since helps to judge a
removal of then.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analytics.cost_review.life_left import drawn, lean_of, left_beyond
from analytics.cost_review.type_lives import TypeLives
from analytics.learning.fitting import Fit
from analytics.learning.gaps import FOUND
from analytics.past.distance import own_interval_km
from analytics.past.history import History
from analytics.past.normal import Z_80
from analytics.wear_model.model import risk_model, run_filters
from analytics.wear_model.unrecorded import allow_for_unrecorded

AT_ONCE = 200  # pumps
LOOKED_INTO = 600  # of them, at most, tell what those who took them off knew
# Of a sum, of life or of risk: how far told lies from true however many the removals (docs/costs.md).
MODEL_SD = 0.12
COLUMNS = ("pump_id", "life_thrown_away_km", "left_sd_km", "told_risk", "interval_km")


def given_up(history: History, fit: Fit) -> pd.DataFrame:
    """Return one row per pump taken off unfailed: pump_id, life_thrown_away_km (mean of what it would still
    have run on its own clock), left_sd_km (spread of that one life), told_risk (of failing over interval_km
    more, its next PM interval).
    """
    history = allow_for_unrecorded(history, fit.parameters.exponents)
    pumps = history.pumps
    off = pumps["removed"].to_numpy(bool) & ~pumps["failed"].to_numpy(bool)
    if not off.any():
        return pd.DataFrame({name: pd.Series(dtype=float) for name in COLUMNS})
    rows = np.flatnonzero(off)
    known = run_filters(history, fit.parameters).known.take(rows)
    gone = pumps.iloc[rows].reset_index(drop=True)
    d_0 = np.maximum(gone["now_km"].to_numpy(float) - known.x_km, 0.0)
    model = risk_model(fit.parameters)
    interval = own_interval_km(gone)
    days = (gone["retires_day"] - gone["removed_day"]).to_numpy(float)
    until = np.where(np.isnan(days), np.inf, np.maximum(days, 0.0) * gone["km_per_day"].to_numpy(float))
    found = gone["found"].to_numpy(object)
    looked = np.flatnonzero(np.isin(found, (*FOUND, "tested_good")))
    if len(looked) > LOOKED_INTO:
        looked = np.sort(np.random.default_rng(5).choice(looked, LOOKED_INTO, replace=False))
    lean = lean_of(drawn(model, known.take(looked), d_0[looked]), np.isin(found[looked], FOUND))
    parts = [
        left_beyond(model, known.take(part), d_0[part], until[part], interval[part], found[part], lean)
        for part in np.array_split(np.arange(len(rows)), -(-len(rows) // AT_ONCE))
    ]
    mean, sd, risk = (np.concatenate(values) for values in zip(*parts, strict=True))
    return pd.DataFrame(
        dict(zip(COLUMNS, (gone["pump_id"].to_numpy(), mean, sd, risk, interval), strict=True))
    )


def sum_range(
    rows: pd.DataFrame, lives: TypeLives, column: str = "life_thrown_away_km"
) -> tuple[float, float]:
    """Return the 80 % range of the sum of `column`: each life's own spread, and what all
    of them share: that of the fleet's life, and MODEL_SD. rows: facts with left_sd_km and pump_type."""
    value = rows[column].fillna(0.0).to_numpy(float)
    own = rows["left_sd_km"].fillna(0.0).to_numpy(float)
    shared = float(
        sum(
            v * np.sqrt(lives.of(name).covariance[0, 0])
            for v, name in zip(value, rows["pump_type"], strict=True)
        )
    )
    total = float(value.sum())
    reach = Z_80 * float(np.sqrt((own**2).sum() + shared**2 + (MODEL_SD * total) ** 2))
    return max(total - reach, 0.0), total + reach
