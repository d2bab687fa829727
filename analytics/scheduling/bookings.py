"""A planner's decisions about pumps, and the history of replacement lists.

A decision is never overwritten: each is a new row, and the newest about a pump holds. Booked and pinned work
keeps its day until a person moves it; a rejected pump stays visible with its reason. Whatever decides raises
EntryRefused for a pump that is unknown, or no longer there to be booked, and where a reason is missing.
"""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

import duckdb
import pandas as pd

from analytics.statements import statement
from ingest.errors import EntryRefused
from ingest.ledger.connection import open_ledger


def book(
    ledger: Path,
    pump_id: int,
    planned_on: date,
    *,
    by: str,
    reason: str = "",
    risk: float | None = None,
    expected_saving: float | None = None,
) -> str:
    """Book a pump's replacement on a day; return the sentence to show."""
    return _decide(ledger, pump_id, "booked", planned_on, reason, by, risk, expected_saving)


def pin(ledger: Path, pump_id: int, planned_on: date, *, by: str, reason: str) -> str:
    """Book a pump on a day of the planner's own choice, over the trade rules too; a reason is asked for."""
    _demand(reason, "why this day")
    return _decide(ledger, pump_id, "pinned", planned_on, reason, by)


def move(ledger: Path, pump_id: int, planned_on: date, *, by: str, reason: str) -> str:
    """Move booked work to another day; a reason is asked for. Raises EntryRefused where nothing is booked."""
    _demand(reason, "why it moves")
    standing = newest_decisions(ledger)
    mine = standing[(standing["pump_id"] == pump_id) & standing["status"].isin(["booked", "pinned"])]
    if mine.empty:
        raise EntryRefused(
            "not-booked", f"Pump {pump_id} is not booked, so there is nothing to move; pin it instead."
        )
    return _decide(ledger, pump_id, str(mine.iloc[0]["status"]), planned_on, reason, by)


def reject(ledger: Path, pump_id: int, *, by: str, reason: str) -> str:
    """Take a pump off the list; a reason is asked for, and it stays visible as rejected."""
    _demand(reason, "why it is rejected")
    return _decide(ledger, pump_id, "rejected", None, reason, by)


def done(ledger: Path, pump_id: int, *, by: str, reason: str = "", done_on: date | None = None) -> str:
    """Mark booked work as done."""
    return _decide(ledger, pump_id, "done", done_on, reason, by)


def withdraw(ledger: Path, pump_id: int, *, by: str, reason: str = "") -> str:
    """Take back whatever was decided: the pump is planned afresh."""
    return _decide(ledger, pump_id, "withdrawn", None, reason, by)


def newest_decisions(ledger: Path, as_of: date | None = None) -> pd.DataFrame:
    """Return the newest decision per pump: pump_id, status, planned_on, reason, risk, decided_by, …"""
    with open_ledger(ledger) as connection:
        return decisions_on(connection, as_of)


def decisions_on(connection: duckdb.DuckDBPyConnection, as_of: date | None = None) -> pd.DataFrame:
    """As `newest_decisions`, on an open connection."""
    return connection.execute(statement("plan_decisions"), [as_of]).df()


def accept(ledger: Path, plan: Any, *, by: str) -> int:
    """Book every proposed line of a plan; return how many were booked."""
    proposed = plan.lines[plan.lines["status"] == "proposed"]
    with open_ledger(ledger, read_only=False) as connection:
        connection.execute("BEGIN")
        for row in proposed.to_dict("records"):
            _insert(
                connection, int(row["pump_id"]), "booked", row["planned_on"], "from the plan", by,
                float(row["risk_until_then"]), float(row["expected_saving"]),
            )  # fmt: skip
        connection.execute("COMMIT")
    return len(proposed)


def record_list(ledger: Path, plan: Any, *, by: str = "") -> int:
    """Keep a plan as the current list, so that the next can say what changed; return its number."""
    keep = ["pump_id", "unit", "position", "planned_on", "status", "risk", "action", "planned", "failure"]
    lines = plan.lines[keep].assign(planned_on=plan.lines["planned_on"].astype(str))
    text = json.dumps(lines.to_dict("records"), default=float)
    with open_ledger(ledger, read_only=False) as connection:
        rows = connection.execute(
            "INSERT INTO plan_list (made_at, as_of, made_by, expected_saving, lines)"
            " VALUES (now() AT TIME ZONE 'UTC', ?, ?, ?, ?) RETURNING list_id",
            [plan.as_of, by, plan.expected_saving, text],
        ).fetchall()
    return int(rows[0][0])


def last_list(connection: duckdb.DuckDBPyConnection, as_of: date) -> pd.DataFrame | None:
    """Return the lines of the newest list made for a day up to `as_of`, or None."""
    rows = connection.execute(
        "SELECT lines FROM plan_list WHERE as_of <= ? ORDER BY as_of DESC, list_id DESC LIMIT 1", [as_of]
    ).fetchall()
    if not rows:
        return None
    frame = pd.DataFrame(json.loads(rows[0][0]))
    if frame.empty:
        return None
    return frame.assign(planned_on=pd.to_datetime(frame["planned_on"]).dt.date)


def _demand(text: str, what: str) -> None:
    if not text or not text.strip():
        raise EntryRefused("reason-missing", f"Say {what}: a reason is kept with every such decision.")


def _decide(ledger: Path, pump_id: int, status: str, planned_on: date | None, reason: str, by: str,
            risk: float | None = None, expected_saving: float | None = None) -> str:  # fmt: skip
    with open_ledger(ledger, read_only=False) as connection:
        found = connection.execute(
            "SELECT unit, position, removed_on FROM pump WHERE pump_id = ?", [int(pump_id)]
        ).fetchall()
        if not found:
            raise EntryRefused("unknown-pump", f"There is no pump {pump_id} in this ledger.")
        unit, position, removed_on = found[0]
        if removed_on is not None and status in ("booked", "pinned"):
            raise EntryRefused(
                "pump-removed", f"The {position} pump {pump_id} of unit {unit} was taken off on {removed_on}."
            )
        connection.execute("BEGIN")
        _insert(connection, int(pump_id), status, planned_on, reason, by, risk, expected_saving)
        connection.execute("COMMIT")
    when = f" on {planned_on}" if planned_on else ""
    return f"The {position} pump of unit {unit} is {status}{when}."


def _insert(
    connection: duckdb.DuckDBPyConnection,
    pump_id: int,
    status: str,
    planned_on: date | None,
    reason: str,
    by: str,
    risk: float | None,
    expected_saving: float | None,
) -> None:
    connection.execute(
        statement("plan_decide"),
        [pump_id, status, planned_on, reason or None, risk, expected_saving, by or None],
    )
