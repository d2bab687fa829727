"""Pumps by risk as words, cards and table rows; all figures come from the ranking."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
import streamlit as st

from dashboard.data import loaders
from dashboard.shell import access, frame, say
from dashboard.words import formats
from dashboard.words.plain import plain

CHANGES = ("book replacement", "check and change", "capture first")
NOW = ("repeat capture", "check circuit", "check filter or strainer")
SHOWN = {
    "unit": "Unit",
    "position": "Pump",
    "action": "Action",
    "risk": "Risk, %",
    "due_by": "Due by",
    "at_stake": "At stake, {currency}",
    "trend_pct": "Current, trend",
    "distance_left_p10": "{unit}, 9 in 10 sure",
    "distance_left_text": "{unit}, even chance",
    "pump_type": "Type",
    "depot": "Depot",
    "class": "Class",
    "reason": "Why",
    "odds": "Risk in words",
    "visits": "Visits",
    "last_visited_on": "Last visit",
}
# The columns by their names alone, and those shown until somebody chooses others.
COLUMN_WORDS = {
    "position": "Pump", "risk": "Risk", "action": "Action", "due_by": "Due by", "at_stake": "At stake",
    "trend_pct": "Current, trend", "distance_left_p10": "Distance left, 9 in 10 sure",
    "distance_left_text": "Distance left, even chance", "pump_type": "Type", "depot": "Depot",
    "class": "Vehicle class", "reason": "Why", "odds": "Risk in words", "visits": "Visits",
    "last_visited_on": "Last visit",
}  # fmt: skip
FIRST_COLUMNS = ("action", "risk", "due_by", "trend_pct", "depot", "pump_type", "position", "at_stake",
                 "distance_left_p10", "reason")  # fmt: skip
PRINTED = {
    "done": "",
    "unit": "Unit",
    "position": "Pump",
    "depot": "Depot",
    "pump_type": "Type",
    "action": "Action",
    "risk": "Risk",
    "due_by": "Due by",
    "last_visited_on": "Last visit",
    "reason": "Why",
}
# What a list can be put in order of: column of the ranking, whether ascending.
ORDERS = {
    "risk": ("risk", False),
    "due date": ("due_by", True),
    "longest unseen": ("last_visited_on", True),
    "unit": ("unit", True),
}
TREND_PCT = (70, 130)
MOST_PRINTED = 200


def to_act_on(ranking: pd.DataFrame, most: int | None = None) -> pd.DataFrame:
    """Return the first pumps of a ranking (by falling risk) with something to do: those that have failed or
    don't do their work, then those to be changed."""
    action = ranking["action"].to_numpy()
    idle = ((ranking["status"] == "failed") | ranking["not_working"].astype(bool)).to_numpy()
    group = np.select([idle, np.isin(action, CHANGES), action != "none"], [0, 1, 2], 3)
    order = np.argsort(group, kind="stable")
    return ranking.iloc[order[group[order] < 3][:most]]


def is_booked(ranking: pd.DataFrame) -> pd.Series:
    """Return whether a person has booked or pinned each pump: it is no longer to be booked."""
    return ranking["decision_status"].isin(["booked", "pinned"])


def headline(ranking: pd.DataFrame) -> str:
    """Return the sentence that answers "what needs doing?"."""
    if not len(ranking):
        return "No pump is in service."
    acts = ranking.loc[~is_booked(ranking), "action"].value_counts()
    booked = int(is_booked(ranking).sum())
    parts = [
        f"{acts[name]:,} to {verb}"
        for name, verb in (
            ("book replacement", "book for a change"),
            ("check and change", "book for a check and change"),
            ("capture first", "capture before a change is decided"),
            ("check circuit", "have the circuit checked"),
            ("check filter or strainer", "have the filter checked"),
            ("check delivery", "have delivery measured"),
            ("repeat capture", "capture again"),
        )
        if acts.get(name)
    ]
    parts += [f"{booked:,} booked"] if booked else []
    idle = int(ranking["not_working"].astype(bool).sum())
    parts = [f"{idle:,} not working by the last reading"] * bool(idle) + parts
    todo = "; ".join(parts) if parts else "nothing to do before the next visits"
    failing = expected_words(ranking["risk_to_next_stop"])
    return (
        f"Of {formats.count(len(ranking), 'pump')}: {todo}. "
        f"Left alone, about {failing} are expected to fail before their next stop."
    )


def expected_words(risk: pd.Series) -> str:
    """Return how many of these pumps are expected to fail, with the range that chance alone leaves, where it
    leaves more than one number.

    risk: of each pump. "11 (8 in 10: 7 to 15)": the count has variance sum p(1 - p) and is taken as normal.
    """
    from analytics.past.normal import Z_80

    mean, reach = float(risk.sum()), Z_80 * float((risk * (1 - risk)).sum()) ** 0.5
    shown = "0" if mean < 0.05 else f"{mean:,.1f}" if mean < 10 else f"{mean:,.0f}"
    least, most = max(round(mean - reach), 0), round(mean + reach)
    return shown if least == most else f"{shown} (8 in 10: {least:,} to {most:,})"


def with_stakes(rows: pd.DataFrame) -> pd.DataFrame:
    """Add at_stake, the risk times what a failure on the road costs more than a planned change, and currency.

    By the prices of the pump's type, class and depot; nothing is added for who may not see money.
    """
    if not access.may("money"):
        return rows
    prices = loaders.cost_book().price_frame(rows)
    more = (prices["failure"] - prices["planned"]).clip(lower=0)
    return rows.assign(at_stake=rows["risk_to_next_stop"] * more, currency=loaders.settings()["currency"])


def show_first(ranking: pd.DataFrame, *, most: int) -> None:
    """Draw the first pumps to act on, a line each that opens to its reason and the way to its history."""
    waiting = int((ranking["action"] != "none").sum())
    if not waiting:
        say.line("○ No pump needs anything before its next planned visit.")
        return
    for i, row in enumerate(with_stakes(to_act_on(ranking, most)).to_dict("records")):
        place = formats.place(row["unit"], row["position"])
        line = f"{formats.action(row['action'])} · unit {place} · {state_words(row)}"
        with st.expander(plain(line), expanded=i == 0):
            if not formats.is_unknown(row["depot"]):
                say.note(row["depot"])
            say.line(row["reason"])
            if when := due_words(row):
                say.note(when)
            frame.link("pump_history", "Open its history", pump=row["pump_id"])
    if waiting > most:
        say.note(f"{waiting - most:,} more with something to do stand in the list of all pumps by risk.")


def state_words(row: dict[Any, Any] | pd.Series) -> str:
    """Return "failed", "not working", or the risk of a pump that works."""
    if row["status"] == "failed":
        return "failed"
    return "not working" if row["not_working"] else f"risk {formats.percent(row['risk'])}"


def due_words(row: dict[Any, Any] | pd.Series, today: date | None = None) -> str:
    """Return when something is due: the day a tenth of such pumps will have failed, and the next capture, or
    that either is past (today: default the calendar's)."""
    words, today = [], today or date.today()
    if not formats.is_unknown(row.get("planned_on")):
        who, status = row.get("decided_by"), row.get("decision_status")
        day = formats.day(row["planned_on"])
        if status in ("booked", "pinned"):
            words.append(f"Planned for {day}{'' if formats.is_unknown(who) else f' ({status} by {who})'}.")
        else:
            words.append(f"Proposed from {day} on: the plan shares out bays and parts.")
    elif row.get("decision_status") == "rejected":
        words.append(f"Rejected by {row.get('decided_by') or 'a person'}.")
    if not formats.is_unknown(row.get("due_by")) and not row.get("not_working"):  # that one is due now
        if pd.Timestamp(row["due_by"]) > pd.Timestamp(today):
            words.append(f"One in ten such pumps will have failed by {formats.day(row['due_by'])}.")
        else:
            words.append("By now one in ten such pumps will have failed.")
    if row.get("action") in NOW:
        words.append("Next step: at the first chance.")
    elif not formats.is_unknown(row.get("next_capture_on")):
        due = pd.Timestamp(row["next_capture_on"])
        seen = not formats.is_unknown(row.get("last_visited_on"))
        if seen and due <= pd.Timestamp(row["last_visited_on"]):
            words.append("Next capture: at the first chance.")
        elif due < pd.Timestamp(today):
            words.append(f"A capture was due by {formats.day(row['next_capture_on'])}.")
        else:
            words.append(f"Next capture {next_capture_words(row)}.")
    if not formats.is_unknown(row.get("at_stake")):
        words.append(f"At stake until its next visit: {formats.about(row['at_stake'])} {row['currency']}.")
    return " ".join(words)


def _due(rows: pd.DataFrame) -> pd.Series:
    """Return when work on each is due, as shown: now where the engine may get no fuel, whatever its risk."""
    return rows["due_by"].map(formats.day).mask(rows["not_working"].astype(bool), "now")


def next_capture_words(row: dict[Any, Any] | pd.Series) -> str:
    """Return "by 2026-03-12 or at 84,000 mi, whichever comes first"; the odometer where it is known."""
    words = f"by {formats.day(row['next_capture_on'])}"
    if formats.is_unknown(row.get("next_capture_km")):
        return words
    return (
        f"{words} or at {formats.distance(row['next_capture_km'], row['horizon_unit'])}, "
        "whichever comes first"
    )


def in_order(rows: pd.DataFrame, order: str) -> pd.DataFrame:
    """Return the rows of a ranking in one of ORDERS; unknown dates come last."""
    by, ascending = ORDERS[order]
    if by == "risk":
        return rows  # as a ranking comes
    return rows.sort_values(by, ascending=ascending, kind="stable", na_position="last")


def may_show(column: str) -> bool:
    """Return whether the one at the screen may see a column."""
    return column != "at_stake" or access.may("money")


def table_rows(rows: pd.DataFrame, columns: Sequence[str] = tuple(COLUMN_WORDS)) -> pd.DataFrame:
    """Return the rows of the risk table as shown, the unit and the columns asked for; the position only where
    a unit has several pumps."""
    shown = rows.assign(
        action=rows["action"].map(formats.action),
        risk=[
            round(100 * risk, 0 if risk >= 0.1 else 1) for risk in rows["risk"]
        ],  # what follows is no one's knowledge
        odds=rows["risk"].map(formats.odds),
        due_by=_due(rows),
        trend_pct=rows["currents_a"].map(against_first) if "currents_a" in rows else None,
        distance_left_p10=rows["distance_left_p10"].map(formats.about),
        distance_left_text=rows["distance_left_text"].map(formats.even_chance),
        last_visited_on=rows["last_visited_on"].map(formats.day),
        at_stake=rows["at_stake"].map(formats.about) if "at_stake" in rows else None,
    )
    unit = rows["horizon_unit"].iloc[0] if len(rows) else ""
    currency = rows["currency"].iloc[0] if "currency" in rows and len(rows) else ""
    asked = ["unit", *(c for c in (*FIRST_COLUMNS, *COLUMN_WORDS) if c in columns)]
    names = {column: SHOWN[column].format(unit=unit, currency=currency) for column in dict.fromkeys(asked)}
    if "at_stake" not in rows:
        names.pop("at_stake", None)
    if (rows["position"] == "main").all():
        names.pop("position", None)
    return shown[list(names)].rename(columns=names)


def against_first(currents_a: Any) -> Any:
    """Return readings in percent of the first shown, so that small lines share one scale; None for none."""
    if currents_a is None or isinstance(currents_a, float) or not len(currents_a):
        return None
    values = np.asarray(currents_a, float)
    return np.round(100 * values / values[0], 1).tolist() if values[0] > 0 else None


def column_settings(unit: str, currency: str) -> dict[str, Any]:
    """Return how the risk table draws its columns; unit: the distance's."""
    column = st.column_config
    return {
        SHOWN["unit"]: column.TextColumn(width=80),
        SHOWN["action"]: column.TextColumn(width=185),
        SHOWN["risk"]: column.NumberColumn(
            format="%.3g", width=65, help="Chance that it fails on the road over one interval of its stops."
        ),
        SHOWN["due_by"]: column.TextColumn(
            width=95, help="By then one in ten such pumps will have failed."
        ),
        SHOWN["at_stake"].format(currency=currency): column.TextColumn(
            width=105, help="Risk before its next stop, times what a failure costs more than a change."
        ),
        SHOWN["trend_pct"]: column.LineChartColumn(
            width=105, y_min=TREND_PCT[0], y_max=TREND_PCT[1],
            help="Average current of the last visits, oldest to newest, in percent of the first shown; the "
            f"strip reaches from {TREND_PCT[0]} to {TREND_PCT[1]} %.",
        ),
        SHOWN["distance_left_p10"].format(unit=unit): column.TextColumn(
            width=120, help="Nine in ten such pumps run at least so far from today."
        ),
        SHOWN["distance_left_text"].format(unit=unit): column.TextColumn(
            width=145, help="Half of such pumps run at least so far from today."
        ),
        SHOWN["pump_type"]: column.TextColumn(width=85),
        SHOWN["depot"]: column.TextColumn(width=105),
        SHOWN["reason"]: column.TextColumn(width=900),
    }  # fmt: skip


def choices_words(chosen: dict[str, list[str]], actions: list[str], find: str, order: str) -> str:
    """Return what a list was narrowed to, in words."""
    said = [", ".join(values) for values in chosen.values() if values]
    said += [", ".join(formats.ACTION_WORDS[a].lower() for a in actions)] if actions else []
    said += [f"units with {find.strip()}"] if find.strip() else []
    return f"{'; '.join(said) or 'all depots, types and classes'}; in order of {order}"


def paper(rows: pd.DataFrame, chosen: str, day: date) -> str:
    """Return the first pumps of a list as a sheet to print, with what it was narrowed to."""
    from dashboard.shell.paper import sheet

    first = rows.head(MOST_PRINTED)
    columns = [c for c in PRINTED if c != "position" or (first["position"] != "main").any()]
    table = first.assign(
        action=first["action"].map(formats.action),
        risk=first["risk"].map(lambda p: formats.percent(p, 1)),
        due_by=_due(first),
        last_visited_on=first["last_visited_on"].map(formats.day),
        done="☐",
    )[columns].rename(columns=PRINTED)
    named = f"{formats.count(len(rows), 'pump')}, {chosen}"
    if len(rows) > len(first):
        named += f"; the first {len(first):,} are printed"
    return sheet(
        f"Pumps by risk, {formats.day(day)}", [(named, table)], {"In all": headline(rows)}, [], wide=True
    )
