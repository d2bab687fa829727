"""What a hold is on, by depot: the recall list, on screen and on paper."""

from __future__ import annotations

from typing import Any

import pandas as pd

from dashboard.data.queries import records
from dashboard.shell.paper import sheet
from dashboard.words import formats
from dashboard.words.warranty import HOLD_OUTCOMES
from ingest.visit.holds import named


def summary(hold: dict[str, Any], lines: pd.DataFrame) -> str:
    """Return a hold in one sentence: what, since when, why, how much of it is open."""
    if hold["lifted_on"] is not None:
        because = f": {hold['lifted_because']}" if hold["lifted_because"] else ""
        return f"{named(hold)}: lifted on {formats.day(hold['lifted_on'])}{because}."
    pumps, stock = (lines[lines["what"] == what] for what in ("pump", "stock"))
    left = pumps["outcome"].isna().sum(), stock["outcome"].isna().sum()
    by = f" by {hold['held_by']}" if hold["held_by"] else ""
    parts = int(stock.loc[stock["outcome"].isna(), "on_hand"].sum())
    return (
        f"{named(hold)} is on hold since {formats.day(hold['held_on'])}{by}: {hold['reason']}. Open: "
        f"{left[0]:,} of {formats.count(len(pumps), 'pump')}, {formats.count(parts, 'part')} in stock at "
        f"{formats.count(int(left[1]), 'depot')}."
    )


def recall_table(lines: pd.DataFrame) -> pd.DataFrame:
    """Return the lines of a hold as shown, depot by depot, open ones first."""
    order = lines.assign(done=lines["outcome"].notna()).sort_values(["depot", "done"], kind="stable")
    pump = order["what"] == "pump"
    what = [_what(row) for row in records(order)]
    return pd.DataFrame(
        {
            "Depot": order["depot"].fillna("no depot"),
            "Unit or stock": what,
            "Type": order["pump_type"],
            "Serial": order["serial"].fillna(""),
            "Lot": order["lot"].where(pump).fillna(""),
            "Fitted": order["fitted_on"].map(formats.day).where(pump, ""),
            "Last visit": order["last_visited_on"].map(formats.day).where(pump, ""),
            "Done": [
                ""
                if formats.is_unknown(outcome)
                else f"{HOLD_OUTCOMES.get(outcome, outcome)}, {formats.day(on)}"
                for outcome, on in zip(order["outcome"], order["closed_on"], strict=True)
            ],
            "By": order["closed_by"].fillna(""),
            "Note": order["note"].fillna(""),
        }
    ).reset_index(drop=True)


def _what(row: dict[str, Any]) -> str:
    if row["what"] == "pump":
        return formats.place(row["unit"], row["position"])
    return f"{int(row['on_hand'])} in stock" + (f", look for lot {row['lot']}" if row["lot"] else "")


def recall_sheet(hold: dict[str, Any], lines: pd.DataFrame) -> str:
    """Return what is still open of a hold as a sheet to print, a table for each depot."""
    left = lines[lines["outcome"].isna()]
    columns = ["Unit or stock", "Type", "Serial", "Lot", "Fitted", "Last visit"]
    tables = [
        (str(depot), recall_table(rows)[columns].assign(**{"Found": "", "Initials, date": ""}))
        for depot, rows in left.groupby(left["depot"].fillna("no depot"))
    ]
    return sheet(f"Recall list: {named(hold)}", tables, {"Why": summary(hold, lines)}, [], wide=True)
