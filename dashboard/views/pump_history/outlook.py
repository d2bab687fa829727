"""The pump history page: where the risk comes from, the distance ahead, what would change the answer."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from analytics.risk.reasons import reason_values
from dashboard.charts import history
from dashboard.data import loaders
from dashboard.parts import glossary
from dashboard.shell import frame, say
from dashboard.words import formats


def show_outlook(pump: pd.Series, visits: pd.DataFrame, ranked: pd.DataFrame) -> None:
    """Draw the risk split, the chance of running on, and what would change the answer."""
    if not len(ranked):
        say.line("Only pumps in service have an outlook.")
        return
    row = ranked.iloc[0]
    told = reason_values(ranked)[0]
    parts = pd.DataFrame(
        {
            "part": ["wear", "drag", "hydraulic", "sudden"],
            "points": [
                row["risk_wear"] + row["risk_commutator"] + row["risk_brush"],
                row["risk_drag"],
                row["risk_hydraulic"],
                row["risk_sudden"],
            ],
            "whole": [
                sum(int(told.get(f"points_{cause}", 0)) for cause in causes)
                for causes in (("wear", "commutator", "brush"), ("drag",), ("hydraulic",), ("sudden",))
            ],
        }
    )
    st.subheader("Where the risk comes from", anchor=False)
    frame.chart(
        history.risk_split(parts, palette=frame.palette()),
        "Risk split into wear, drag, hydraulic wear and unpredictable, in points.",
    )
    say.line(row["reason"])
    extra = []
    if not formats.is_unknown(row.get("p_drag_started")):
        extra.append(f"Chance that drag has started in it: {formats.percent(row['p_drag_started'])}.")
    if not formats.is_unknown(row.get("p_beside_pump")):
        extra.append(
            "Chance that something beside the pump (supply, fuel, clamp) shifts its readings: "
            f"{formats.percent(row['p_beside_pump'])}."
        )
    if not formats.is_unknown(row.get("prior_share")):
        extra.append(
            f"{formats.percent(row['prior_share'])} of this answer is the type's, not this pump's own."
        )
    if not formats.is_unknown(row.get("n_alike")) and row["n_alike"]:
        extra.append(
            f"Of {formats.count(int(row['n_alike']), 'past reading')} rated like this, "
            f"{int(row['k_failed'])} {'was' if row['k_failed'] == 1 else 'were'} followed by a failure."
        )
    if not formats.is_unknown(row.get("risk_if_new")):
        extra.append(f"A new pump in its place would carry {formats.percent(row['risk_if_new'])}.")
    if extra:
        say.points(extra)
    glossary.show("risk", "wear", "drag", "hydraulic", "sudden", "prior")
    _show_survival(int(pump["pump_id"]), row)
    st.subheader("What would change this answer", anchor=False)
    say.points(would_change(visits, pump))


def _show_survival(pump_id: int, row: pd.Series) -> None:
    curve = loaders.survival(pump_id)
    if curve is None:
        return
    own = loaders.settings()["distance_unit"]
    shown = curve.assign(distance=formats.in_unit(curve["distance_km"], own))
    long = pd.concat(
        [
            shown[["distance", "running"]].assign(pump="this pump"),
            shown[["distance", "new_running"]]
            .rename(columns={"new_running": "running"})
            .assign(pump="a new pump"),
        ]
    )
    marks = {"next visit": float(row["horizon"])} if not formats.is_unknown(row.get("horizon")) else {}
    st.subheader("The distance ahead", anchor=False)
    frame.chart(
        history.survival_ahead(
            long, distance_title=f"{own} from today", marks=marks, palette=frame.palette()
        ),
        "Chance that this pump, and a new one, still runs over the distance ahead.",
    )


def would_change(visits: pd.DataFrame, pump: pd.Series) -> list[str]:
    """Return what would make the answer firmer or different, most useful first."""
    lines = []
    readings = visits[visits["mean_a"].notna()]
    if len(readings) < 3:
        lines.append(
            f"{formats.count(len(readings), 'reading')} so far: from three on, the pump's own trend counts."
        )
    if len(readings) and readings["rpm"].isna().iloc[-1]:
        lines.append("The last reading has no speed: a longer or finer capture would tell wear from drag.")
    if len(readings) and readings["supply_v"].isna().any():
        n = int(readings["supply_v"].isna().sum())
        lines.append(
            f"{formats.count(n, 'reading')} without volts at the pump: a low supply looks like wear."
        )
    if readings["state"].nunique(dropna=True) > 1:
        lines.append("Readings mix engine states; captures in one state compare best.")
    if pump["filter"] == "inline" and visits["filter_changed_on"].isna().all():
        lines.append("No filter change is recorded: a clogged filter looks like drag.")
    if formats.is_unknown(pump["fitted_on"]):
        lines.append("The day this pump was fitted is unknown; its age is a guess.")
    return lines or ["More captures in the usual state; the data so far are complete."]
