"""What real records suffer: entry errors in odometers, wild readings, work that nobody wrote down."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

KM_PER_MI = 1.609344


@dataclass(frozen=True)
class Dirt:
    """Shares of rows that suffer each error."""

    odometer_typo: float = 0.0  # a digit wrong or swapped
    odometer_unit: float = 0.0  # kilometres entered as miles
    outlier: float = 0.0  # a wild reading: clamp slipped, wrong wire
    lost_filter: float = 0.0  # filter changes not written down
    lost_pump: float = 0.0  # pump changes not written down
    lost_fitting: float = 0.0  # pumps whose fitting date and odometer nobody knows

    @classmethod
    def none(cls) -> Dirt:
        """No dirt at all."""
        return cls()

    @classmethod
    def usual(cls) -> Dirt:
        """All kinds together, as much as a careless shop makes."""
        return cls(0.01, 0.005, 0.015, 0.3, 0.05, 0.1)


def add_dirt(
    tables: dict[str, pd.DataFrame], dirt: Dirt, rng: np.random.Generator
) -> dict[str, pd.DataFrame]:
    """Return the tables with errors in visits, services and pumps."""
    if dirt == Dirt.none():
        return tables
    out = {name: table.copy() for name, table in tables.items()}
    visits = out["visits"]
    odometer = visits["odometer"].to_numpy(float).copy()
    typo = rng.random(len(visits)) < dirt.odometer_typo
    power = 10.0 ** rng.integers(2, 5, len(visits))
    slip = power * rng.integers(1, 9, len(visits)) * rng.choice([-1, 1], len(visits))
    odometer = np.where(typo, np.abs(odometer + slip), odometer)
    odometer = np.where(rng.random(len(visits)) < dirt.odometer_unit, odometer * KM_PER_MI, odometer).round()
    visits["odometer"] = odometer
    wild = rng.random(len(visits)) < dirt.outlier
    for name, sd in (("mean_a", 0.15), ("ripple_pct", 0.35), ("rpm", 0.08)):
        visits[name] = np.where(wild, visits[name] * np.exp(rng.normal(0, sd, len(visits))), visits[name])
    services = out["services"]
    out["services"] = services[rng.random(len(services)) >= dirt.lost_filter].reset_index(drop=True)
    out["pumps"] = _lose_pumps(out["pumps"], dirt, rng)
    known = set(out["pumps"]["serial"])
    out["visits"]["serial"] = visits["serial"].where(visits["serial"].isin(known), "")
    return out


def _lose_pumps(pumps: pd.DataFrame, dirt: Dirt, rng: np.random.Generator) -> pd.DataFrame:
    """Merge a lost pump change into one row: the first pump seems to run on through the second's life."""
    pumps = pumps.copy()
    follows = (pumps["unit"] == pumps["unit"].shift()).to_numpy()
    # A failure on the road is always written down; only changes at a stop get lost.
    quiet = (pumps["removal"].shift() == "on_condition").to_numpy()
    lost = np.flatnonzero(follows & quiet & (rng.random(len(pumps)) < dirt.lost_pump))
    for i in lost[::-1]:
        for name in ("removed_on", "removed_odometer", "removal", "found"):
            pumps.loc[pumps.index[i - 1], name] = pumps[name].iloc[i]
    pumps = pumps.drop(pumps.index[lost]).reset_index(drop=True)
    unknown = rng.random(len(pumps)) < dirt.lost_fitting
    pumps["fitted_on"] = pumps["fitted_on"].mask(unknown)
    pumps["fitted_odometer"] = pumps["fitted_odometer"].mask(unknown)
    return pumps
