"""Pump types and lots that fail early: the warning where pumps are planned, and the whole list."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard.shell import address, frame, lists, say
from dashboard.words import formats

MOST_NAMED = 3
MARKED = {  # findings of analytics.past.lots with a mark before them
    "fails early": "▲ fails early",
    "suspect": "△ suspect",
    "chance can do that": "○ chance can do that",
}


def show_warning(groups: pd.DataFrame) -> None:
    """Name the types and lots that fail early beyond chance, then suspects; nothing where there is none."""
    flagged = groups[groups["flagged"].astype(bool)] if len(groups) else groups
    for text in flagged["text"].head(MOST_NAMED) if len(flagged) else ():
        say.warn(f"Fails early: {text}")
    if len(flagged) > MOST_NAMED:
        say.note(f"{len(flagged) - MOST_NAMED:,} more types and lots fail early.")
    suspects = groups[groups["finding"] == "suspect"] if len(groups) else groups
    for text in suspects["text"].head(MOST_NAMED) if len(suspects) else ():
        say.note(f"Suspect: {text}")
    if len(flagged) or len(suspects):
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
    kinds = ["types", "lots"]
    kind = st.segmented_control("Show", kinds, **address.bound("group_kind", "show", kinds))
    if kind:
        groups = groups[groups["kind"] == kind.removesuffix("s")]
    lists.show(
        group_table(groups), "Pump types and lots with failures counted and expected.", "types_and_lots"
    )
    say.note(
        "A type is held against all pumps, a lot against all of its type, over the same stretches of "
        "distance. Who looks at many groups, time and again, finds some that stand out by chance alone. "
        "So it takes the more the more groups there are: a fleet without any bad lot ever sees one named "
        "in 1 of 100 cases, and a suspect in about 1 of 5. The price: a few early failures in a small lot "
        "name nothing. A suspect is worth a strip-down of its next failures, not a recall."
    )


def group_table(groups: pd.DataFrame) -> pd.DataFrame:
    """Return the groups as shown."""
    return pd.DataFrame(
        {
            "Finding": groups["finding"].map(MARKED),
            "Kind": groups["kind"],
            "Name": groups["name"],
            "Pumps": groups["pumps"],
            "Failed": groups["failed"],
            "Expected, as the rest": groups["expected"].round(1),
            "Times as many": groups["ratio"].round(1),
            "Chance of so many, p": groups["p_value"].map(_p),
            "Times likelier of a bad one": groups["likelier"].map(_times),
            "Named from": groups["threshold"].map(_times),
        }
    )


def _p(value: float) -> str:
    return f"{value:.2f}" if value >= 0.01 else f"{value:.1g}"


def _times(value: float) -> str:
    return "over a million" if value > 1e6 else f"{value:,.0f}" if value >= 10 else f"{value:.1f}"
