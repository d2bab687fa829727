"""Figures of the cost review for a spreadsheet: money to the cent, distances whole, others four decimals."""

from __future__ import annotations

import numpy as np
import pandas as pd

WHOLE = {
    "pump_id", "breakdown_id", "life_thrown_away", "life_low", "life_high", "interval", "at_most", "setting",
    "setting_low", "setting_high", "typical_life", "typical_life_low", "typical_life_high", "best_age",
    "age_low", "age_high", "best_age_discounted", "distance", "warning_p10", "warning_p50", "warning_p90",
}  # fmt: skip
MONEY_WORDS = ("cost", "saving", "money", "realised")
MONEY = {"amount", "low", "high", "base"}
SHARES = {"saving_share"}


def tidy(frame: pd.DataFrame) -> pd.DataFrame:
    """Return a table of the review with figures no finer than they are known; keys stay whole numbers."""
    out = frame.copy()
    for name in out.columns:
        if pd.api.types.is_float_dtype(out[name]):
            out[name] = out[name].round(_decimals(str(name)))
            if str(name) in WHOLE and np.isfinite(out[name].dropna()).all():
                out[name] = out[name].astype("Int64")
    return out


def _decimals(name: str) -> int:
    if name in WHOLE:
        return 0
    if name in MONEY or (name not in SHARES and any(word in name for word in MONEY_WORDS)):
        return 2
    return 4
