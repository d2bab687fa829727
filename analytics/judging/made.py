"""What the visits of one day have looked at already, so that nobody is asked for it again: as bits."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analytics.judging.baseline import number

NOT_SERVICEABLE = ("module", "none")  # filters that nobody changes: nothing is to be looked at
PARTS = ("strainer", "hose", "regulator", "connector")  # that a look into the open tank takes in
ASKED = ("zero", "circuit", "pressure", "delivery", "filter", *PARTS)
FIRST = ("zero", "circuit")  # what a change asks for before anything else
BIT = {name: 1 << i for i, name in enumerate(ASKED)}


def made_on_the_newest_day(judged: pd.DataFrame) -> pd.Series:
    """Return by pump_id which of ASKED its visits on the day of its newest record, together, as the sum of
    BIT; a part counts as looked at where it was found good. What a follow-up took over from the visit before
    it (examined.carry_readings) counts as its own, the zero apart.

    judged: rows from judge, every visit of each pump.
    """
    pump, day = judged["pump_id"], judged["visited_on"]
    facts = {f"{name}_good": judged[f"{name}_good"].to_numpy(bool) for name in ("filter", *PARTS)}
    told = [~np.isnan(number(judged, name)) for name in ("supply_v", "drop_supply_v", "drop_ground_v")]
    looked = {
        "zero": judged["zeroed"].to_numpy(bool) & ~judged["carried"].to_numpy(bool),
        "circuit": np.logical_and.reduce(told),
        "pressure": judged["pressure_measured"].to_numpy(bool),
        "delivery": judged["delivery_measured"].to_numpy(bool),
        "filter": facts["filter_good"] | judged["filter"].isin(NOT_SERVICEABLE).to_numpy(),
    } | {name: facts[f"{name}_good"] for name in PARTS}
    newest = (day == day.groupby(pump).transform("max")).to_numpy()
    table = pd.DataFrame({name: held[newest] for name, held in looked.items()})
    by_pump = table.groupby(pump.to_numpy()[newest]).any()
    return sum((by_pump[name] * BIT[name] for name in ASKED), pd.Series(0, by_pump.index)).astype(int)


def has(made: np.ndarray | pd.Series | int, *names: str) -> np.ndarray:
    """Return whether all of these of ASKED were looked at, (n,)."""
    wanted = sum(BIT[name] for name in names)
    return np.asarray((np.asarray(made, int) & wanted) == wanted)
