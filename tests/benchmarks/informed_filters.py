"""The product's own filters and formulas, told the constants of a simulated fleet instead of learning them.

What they save is what perfect learning would save: any gap from there to the perfect sensor is noise of the
readings, and can't be closed by learning better.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from analytics.wear_model.model import Parameters
from analytics.wear_model.onsets import NAMES, Onsets
from demo_fleet import fleet as simulator


def informed(learned: Parameters, true: simulator.FleetParameters) -> Parameters | None:
    """Return `learned` with rates, shapes, failure levels and hazards as they are; None where a fleet breaks
    the model's shape, so that it has no such constants.

    Lognormal spreads become the normal ones with the same mean and variance. Own levels, noise and exponents
    stay as learned: every reading tells of them, few failures tell of the rest.
    """
    if true.variant not in ("standard", "concave"):
        return None
    k = len(simulator.TYPES)
    place = list(learned.type_codes(pd.Series(simulator.TYPES)))

    def by_type(value: np.ndarray | float) -> np.ndarray:
        each = np.broadcast_to(np.asarray(value, float), (k,))
        out = np.full(len(learned.types), each.mean())
        out[place] = each
        return out

    rate, rate_cv = _moments(true.wear_rate, true.wear_rate_sd)
    growth, growth_cv = _moments(true.drag_rate, true.drag_rate_sd)
    wear_level, wear_cv = _moments(true.wear_at_failure, true.wear_level_sd)
    drag_level, drag_cv = _moments(true.drag_level, true.drag_level_sd)
    scale = float(true.drag_scale_km.mean())
    one = np.ones(len(learned.types))
    # These fleets know wear and drag only.
    none = {name: replace(getattr(learned.onsets, name), factor=0 * one) for name in NAMES}
    return replace(
        learned,
        onsets=Onsets(**none),
        wear=replace(
            learned.wear,
            rate=by_type(rate),
            rate_cv=rate_cv,
            walk=true.wear_walk**2,
            power=true.wear_power,
        ),
        drag=replace(
            learned.drag,
            scale_km=scale,
            shape=true.drag_shape,
            starts=by_type((scale / true.drag_scale_km) ** true.drag_shape),
            growth=float(growth),
            growth_cv=growth_cv,
            filter_per_km=true.filter_per_km,
        ),
        failure=replace(
            learned.failure,
            wear_level=by_type(wear_level),
            wear_level_sd=by_type(wear_cv * wear_level),
            drag_level=float(drag_level),
            drag_level_sd=float(drag_cv * drag_level),
            sudden_per_km=by_type(true.sudden_per_km),
            wear_factor=one,
            drag_factor=one,
        ),
    )


def _moments(median: np.ndarray | float, sd_of_log: float) -> tuple[np.ndarray, float]:
    """Mean and coefficient of variation of a lognormal."""
    mean = np.asarray(median, float) * np.exp(sd_of_log**2 / 2)
    return mean, float(np.sqrt(np.expm1(sd_of_log**2)))
