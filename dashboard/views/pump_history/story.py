"""The pump history page: how far each damage has come, as the risk has it, and how sure its start is."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import streamlit as st

from analytics.past.normal import Z_80
from dashboard.charts import history
from dashboard.data import loaders
from dashboard.parts import glossary
from dashboard.shell import frame, say
from dashboard.views.pump_history.along import Axis
from dashboard.words import formats

if TYPE_CHECKING:
    from analytics.risk.pump_drift import PumpDrift
    from analytics.risk.pump_story import PumpStory

POINTS = 13
SEEN_FROM = 0.1  # a damage is drawn once it was so likely to have started, or the risk rests on it
SHARE_FROM = 0.1


def show(
    pump: pd.Series, ranked: pd.DataFrame, lines: PumpDrift | None, axis: Axis, domain: tuple[float, float]
) -> float:
    """Draw the damages up to the last reading and the fan to the level at which such pumps fail.

    Returns the chance that one that is drawn beside slow wear has started, 0 without any.
    """
    if lines is None:
        return 0.0
    end_km = axis.start_km + domain[1] * axis.km
    reach = max(end_km - float(lines.visits["x_km"].max()), 1.0) if lines.in_service else 0.0
    told = loaders.pump_story(int(pump["pump_id"]), tuple(np.linspace(0, reach, POINTS)))
    if told is None:
        say.note("How far its damages have come is told once the fleet has readings enough to learn from.")
        return 0.0
    names = drawn(told, ranked)
    visits, ahead = _named(told.visits, names, axis), _named(told.ahead, names, axis)
    spread = Z_80 * 100 * max(told.fails_sd[name] for name in names)
    st.subheader("How far its damages have come", anchor=False)
    frame.chart(
        history.damages(visits, ahead, domain=domain, fails=(max(100 - spread, 0), 100 + spread),
                        now=float(axis.place(lines.now_km)), palette=frame.palette(),
                        now_words="today" if lines.in_service else "removed"),
        "Each damage in percent of the level at which such pumps fail, with where it leads, 8 in 10.",
    )  # fmt: skip
    say.line(words(told, names))
    begun = [name for name in names if name != "wear"]
    chance = 0.0
    if begun:
        shown = visits[visits["damage"].isin(begun)]
        chance = float(shown.groupby("damage")["chance"].last().max())
        frame.chart(
            history.chances(shown, domain=domain, palette=frame.palette()),
            "Chance that each damage has started, as it stood after each visit.",
        )
    ahead_words = (
        "the risk above rests on it. Shaded ahead: where it will lie, 8 in 10."
        if lines.in_service
        else "nothing is foretold of a pump taken off."
    )
    say.note(
        f"Worked out from all readings together, corrected for volts, pressure and filter; {ahead_words} "
        "Band: where 8 in 10 such pumps fail."
    )
    glossary.show(*names)
    return chance


def drawn(told: PumpStory, ranked: pd.DataFrame) -> list[str]:
    """Return the damages worth drawing: slow wear always, others once they were likely and went anywhere, or
    where the risk rests on them."""
    names = []
    row = ranked.iloc[0] if len(ranked) else None
    for name, rows in told.visits.groupby("damage", sort=False):
        likely = rows["chance"].max() >= SEEN_FROM and rows["value"].max() >= SHARE_FROM
        points = 0.0 if row is None else float(row.get(f"risk_{name}") or 0.0)
        if name == "wear" or likely or (row is not None and points >= SHARE_FROM * 100 * row["risk"] > 1):
            names.append(str(name))
    return names


def words(told: PumpStory, names: list[str]) -> str:
    """Say how far the damage that has come farthest is, and that the others have not started."""
    last = told.visits.groupby("damage", sort=False).tail(1).set_index("damage").loc[names]
    first = last.sort_values("value", ascending=False).iloc[0]
    said = history.DAMAGE_WORDS[str(first.name)]
    share = formats.percent(first["value"])
    begun = "" if first.name == "wear" else f", started with a chance of {formats.percent(first['chance'])}"
    return f"{said[0].upper()}{said[1:]} has come farthest{begun}: {share} of what such pumps fail at."


def _named(rows: pd.DataFrame, names: list[str], axis: Axis) -> pd.DataFrame:
    kept = rows[rows["damage"].isin(names)]
    percent = {name: 100 * kept[name] for name in ("value", "low", "high")}
    return kept.assign(
        name=kept["damage"].map(history.DAMAGE_WORDS), distance=axis.place(kept["x_km"]), **percent
    )
