"""How much more or less often than the rest a pump's depot, class and lot fail, beyond what readings show."""

from __future__ import annotations

import numpy as np
import pandas as pd

KINDS = ("depot", "class", "lot")
Groups = dict[str, dict[str, float]]  # kind: name: factor


def group_names(pumps: pd.DataFrame, kind: str) -> pd.Series:
    """Return each pump's group of a kind, None where unknown; a lot is one of its type."""
    if kind != "lot":
        return pumps[kind]
    return (pumps["pump_type"].astype(str) + "/" + pumps["lot"].astype(str)).where(pumps["lot"].notna())


def exposure(groups: Groups, pumps: pd.DataFrame, *, new: bool = False) -> np.ndarray:
    """Return the product of each pump's factors, (n,), 1 for groups never seen; new: of a new pump in its
    place, whose lot nobody knows."""
    out = np.ones(len(pumps))
    for kind in KINDS:
        if groups.get(kind) and not (new and kind == "lot"):
            out *= group_names(pumps, kind).map(groups[kind]).fillna(1.0).to_numpy(float)
    return out
