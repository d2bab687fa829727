"""Pump types and lots on hold: not to be fitted, with their stock and pumps closed one by one."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import duckdb
import pandas as pd

from ingest.author import Author
from ingest.errors import EntryRefused
from ingest.ledger.changes import add_row, change_cells, row_of
from ingest.ledger.connection import open_ledger
from ingest.ledger.rows import as_dicts
from ingest.ledger.statements import statement
from ingest.ledger.transaction import transaction
from ingest.vocabulary import HOLD_OUTCOMES
from ingest.wording.language import phrase


def begin_hold(
    ledger: Path | str,
    pump_type: str,
    lot: str | None,
    reason: str,
    *,
    author: Author,
    on: date | None = None,
) -> int:
    """Hold back a pump type, or one lot of it; returns the hold's number.

    Raises EntryRefused without a reason, for a type or lot that nothing is known of, or one on hold already.
    """
    lot = (lot or "").strip() or None
    if not reason.strip():
        raise EntryRefused("why-missing", "Say why it is held back.")
    with open_ledger(ledger, read_only=False) as connection:
        if row_of(connection, "pump_type", pump_type) is None:
            raise EntryRefused("no-type", f"There is no pump type '{pump_type}' in this ledger.")
        for known in _on(connection, pump_type, lot):
            if known["lot"] == lot:
                raise EntryRefused("held-already", f"{named(known)} is on hold since {known['held_on']}.")
        row: dict[str, Any] = {
            "pump_type": pump_type,
            "lot": lot,
            "reason": reason.strip(),
            "held_by": author.name,
        }
        row |= {"held_on": on or date.today()}
        with transaction(connection, author, "facts", command="hold") as stamp:
            return int(add_row(connection, "hold", row, stamp))


def lift_hold(
    ledger: Path | str, hold_id: int, because: str, *, author: Author, on: date | None = None
) -> None:
    """End a hold. Raises EntryRefused without a reason, or where it has ended or there is none."""
    if not because.strip():
        raise EntryRefused("why-missing", "Say why the hold ends.")
    with open_ledger(ledger, read_only=False) as connection:
        _standing(connection, hold_id)
        values = {
            "lifted_on": on or date.today(),
            "lifted_by": author.name,
            "lifted_because": because.strip(),
        }
        with transaction(connection, author, "facts", command="hold") as stamp:
            change_cells(connection, "hold", hold_id, values, stamp, reason=because.strip())


def close_line(
    ledger: Path | str,
    hold_id: int,
    outcome: str,
    *,
    author: Author,
    pump_id: int | None = None,
    depot: str | None = None,
    note: str | None = None,
    on: date | None = None,
) -> int:
    """Close one line of a hold: a pump in service, or a depot's stock; returns the row's number.

    Raises EntryRefused for an unknown outcome, a line the hold doesn't have, or one that is closed.
    """
    if outcome not in HOLD_OUTCOMES:
        raise EntryRefused("unknown-outcome", f"'{outcome}' is not one of {', '.join(HOLD_OUTCOMES)}.")
    with open_ledger(ledger, read_only=False) as connection:
        hold = _standing(connection, hold_id)
        lines = lines_of(connection, hold_id)
        mine = lines["pump_id"] == pump_id if pump_id is not None else (
            (lines["what"] == "stock") & (lines["depot"] == depot)
        )  # fmt: skip
        found = lines[mine]
        if found.empty:
            what = f"stock at {depot}" if pump_id is None else f"pump {pump_id}"
            raise EntryRefused("no-line", f"The hold on {named(hold)} has no {what}.")
        if pd.notna(found["outcome"].iloc[0]):
            raise EntryRefused("closed-already", "That line is closed already.")
        row: dict[str, Any] = {"hold_id": hold_id, "outcome": outcome, "closed_by": author.name}
        row |= {"pump_id": pump_id, "depot": depot if pump_id is None else None, "note": note or None}
        row |= {"closed_on": on or date.today()}
        with transaction(connection, author, "work", command="hold") as stamp:
            return int(add_row(connection, "hold_closed", row, stamp))


def lines_of(connection: duckdb.DuckDBPyConnection, hold_id: int) -> pd.DataFrame:
    """Return what a hold is on, by depot: what (pump or stock), unit, position, pump_id, pump_type, serial,
    lot, fitted_on, last_visited_on, on_hand, outcome (None: open), closed_on, closed_by, note."""
    rows = connection.execute(statement("visit/hold_lines"), {"hold_id": hold_id}).df()
    return rows.assign(outcome=rows["outcome"].astype("object").where(rows["outcome"].notna(), None))


def holds_on_pump(connection: duckdb.DuckDBPyConnection, pump_id: int) -> list[str]:
    """Return a sentence for each hold that stands on one pump and isn't closed for it."""
    pump = row_of(connection, "pump", pump_id)
    if pump is None:
        return []
    said = []
    for row in _on(connection, pump["pump_type"], pump["lot"]):
        lines = lines_of(connection, row["hold_id"])
        mine = lines[lines["pump_id"] == pump_id]
        if mine.empty or mine["outcome"].isna().all():
            said.append(_sentence(row))
    return said


def named(hold: dict[str, Any]) -> str:
    """Return what is held in words."""
    if hold["lot"]:
        return phrase("Lot {lot} of type {type}", lot=hold["lot"], type=hold["pump_type"])
    return phrase("Type {type}", type=hold["pump_type"])


def _sentence(hold: dict[str, Any]) -> str:
    return phrase(
        "{what} is on hold since {day}: {reason}",
        what=named(hold),
        day=hold["held_on"],
        reason=hold["reason"],
    )


def _on(connection: duckdb.DuckDBPyConnection, pump_type: str, lot: str | None) -> list[dict[str, Any]]:
    told = {"pump_type": pump_type, "lot": lot}
    return as_dicts(connection.execute(statement("visit/holds_on"), told))


def _standing(connection: duckdb.DuckDBPyConnection, hold_id: int) -> dict[str, Any]:
    hold = row_of(connection, "hold", hold_id)
    if hold is None:
        raise EntryRefused("no-hold", f"There is no hold {hold_id}.")
    if hold["lifted_on"] is not None:
        raise EntryRefused("lifted", f"The hold on {named(hold)} ended on {hold['lifted_on']}.")
    return hold
