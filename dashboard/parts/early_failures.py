"""Pump types and lots that fail early: the warning where pumps are planned, and the whole list."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard.shell import frame, lists, say
from dashboard.words import formats

MOST_NAMED = 3


def show_warning(groups: pd.DataFrame) -> None:
    """Name the types and lots that fail early beyond chance; draw nothing where there is none."""
    flagged = groups[groups["flagged"].astype(bool)] if len(groups) else groups
    for text in flagged["text"].head(MOST_NAMED) if len(flagged) else ():
        say.warn(f"Fails early: {text}")
    if len(flagged) > MOST_NAMED:
        say.note(f"{len(flagged) - MOST_NAMED:,} more types and lots fail early.")
    if len(flagged):
        frame.link("costs", "→ Types and lots held against the rest", costs_part="Types and lots")


def show_groups(groups: pd.DataFrame) -> None:
    """Draw every type and lot held against the rest, with what was allowed for so many looks."""
    if not len(groups):
        say.line("Nothing to compare yet: it takes two types, or two lots of a type, with two pumps each.")
        return
    flagged = int(groups["flagged"].sum())
    say.line(
        f"{formats.count(len(groups), 'group')} held against the rest; "
        + (f"{flagged:,} {'fails' if flagged == 1 else 'fail'} early beyond chance." if flagged
           else "none fails early beyond what chance can do.")
    )  # fmt: skip
    kind = st.segmented_control("Show", ["types", "lots"], key="group_kind", bind="query-params")
    if kind:
        groups = groups[groups["kind"] == kind.removesuffix("s")]
    lists.show(
        group_table(groups), "Pump types and lots with failures counted and expected.", "types_and_lots"
    )
    say.note(
        "A type is held against all pumps, a lot against all of its type, over the same stretches of "
        "distance. Who looks at many groups, time and again, finds some that stand out by chance alone. "
        "So the more groups there are and the more often one is looked at, the smaller the chance must be "
        "before a group is named: over all groups and all looks together, a fleet without any bad lot is "
        "alarmed in fewer than 1 of 20 cases. The price: a few early failures in a small lot name nothing."
    )


def group_table(groups: pd.DataFrame) -> pd.DataFrame:
    """Return the groups as shown."""
    return pd.DataFrame(
        {
            "Finding": groups["flagged"].map({True: "▲ fails early", False: "○ chance can do that"}),
            "Kind": groups["kind"],
            "Name": groups["name"],
            "Pumps": groups["pumps"],
            "Failed": groups["failed"],
            "Expected, as the rest": groups["expected"].round(1),
            "Times as many": groups["ratio"].round(1),
            "Chance of so many, p": groups["p_value"].map(_p),
            "Named below": groups["threshold"].map(_p),
        }
    )


def _p(value: float) -> str:
    return f"{value:.2f}" if value >= 0.01 else f"{value:.1g}"
