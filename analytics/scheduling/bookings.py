"""A planner's decisions about pumps, and the history of replacement lists.

A decision is never overwritten: each is a new row, and the newest about a pump holds. Booked and pinned work
keeps its day until a person moves it; a rejected pump stays visible with its reason. A decision made for
another day (`today`) is dated on it, so that a plan as of that day knows it; when it was written down stands
beside. Whatever decides raises EntryRefused for a pump that is unknown, or no longer there to be booked, and
where a reason is missing.
"""

from __future__ import annotations

import json
from datetime import date, datetime
from pathlib import Path
from typing import Any

import duckdb
import pandas as pd

from analytics.judging.verdict import judge_visit
from analytics.risk.parts_ahead import STANDING
from analytics.scheduling.doubts import booking_doubts, demand_possible
from analytics.statements import statement
from ingest.author import Author
from ingest.errors import EntryRefused
from ingest.ledger.connection import open_ledger
from ingest.ledger.numbers import new_id
from ingest.ledger.transaction import Stamp, transaction
from ingest.typed import tidy
from ingest.visit.checks import odometer_doubt
from ingest.visit.instrument_cluster import count_on
from ingest.visit.pump_lives import NewPump, Removal, replace_pump
from ingest.vocabulary import FOUND_FAILED

KEPT = ["pump_id", "unit", "position", "planned_on", "status", "job", "risk", "action", "planned", "failure"]
# What a pump is said to be by a decision, where the decision's own word names the decision.
_NOW = {"rejected": "off the list", "withdrawn": "planned afresh"}


def book(
    ledger: Path,
    pump_id: int,
    planned_on: date,
    *,
    author: Author,
    reason: str = "",
    risk: float | None = None,
    expected_saving: float | None = None,
    today: date | None = None,
) -> str:
    """Book a pump on a day; return the sentence to show.

    A day that something speaks against (closed, no bay hours, no part by then) needs a reason, and the
    sentence says what. Raises EntryRefused without one, and for a day that is past or after the unit's
    retirement.
    """
    return _decide(ledger, pump_id, "booked", planned_on, reason, author, today, risk, expected_saving)


def pin(
    ledger: Path, pump_id: int, planned_on: date, *, author: Author, reason: str, today: date | None = None
) -> str:
    """Book a pump on a day of the planner's own choice, whatever is decided; a reason is asked for."""
    _demand(reason, "why this day")
    return _decide(ledger, pump_id, "pinned", planned_on, reason, author, today)


def move(
    ledger: Path, pump_id: int, planned_on: date, *, author: Author, reason: str, today: date | None = None
) -> str:
    """Move booked work to another day; a reason is asked for. Raises EntryRefused where nothing is booked."""
    _demand(reason, "why it moves")
    standing = newest_decisions(ledger, today)
    mine = standing[(standing["pump_id"] == pump_id) & standing["status"].isin(STANDING)]
    if mine.empty:
        with open_ledger(ledger) as connection:
            [(unit,)] = connection.execute(statement("unit_of_pump"), [int(pump_id)]).fetchall()
        raise EntryRefused(
            "not-booked",
            f"The pump of unit {unit} is not booked, so there is nothing to move; book it on that day.",
        )
    return _decide(ledger, pump_id, str(mine.iloc[0]["status"]), planned_on, reason, author, today)


def reject(ledger: Path, pump_id: int, *, author: Author, reason: str, today: date | None = None) -> str:
    """Take a pump off the list; a reason is asked for, and it stays visible as rejected."""
    _demand(reason, "why it is rejected")
    return _decide(ledger, pump_id, "rejected", None, reason, author, today)


def done(
    ledger: Path,
    pump_id: int,
    *,
    author: Author,
    reason: str,
    done_on: date | None = None,
    changed: bool | None = None,
    new: NewPump | None = None,
    odometer_km: float | None = None,
    found: str | None = None,
    today: date | None = None,
) -> str:
    """Mark work as done; `reason` says what was found, and is asked for.

    changed: the pump came off; its removal is then recorded on `done_on` (default: today) as well, with the
    pump `new` fitted in its place (default: one of the same type), unless it already is: as failed where its
    last reading says so, or a fault was found after a road call or a pump that did not run, else as taken off
    on condition. odometer_km: what the instrument cluster shows;
    found: what state the old pump was in (ingest.vocabulary.FOUND). Raises EntryRefused where a change may
    have been part of the job and nobody says whether it was made, for an odometer in doubt, and for a pump
    fitted that day or later on which nothing is booked: the job done was that of the pump before it.
    """
    _demand(reason, "what was found (changed and why, a cause beside the pump, or could not finish)")
    with open_ledger(ledger) as connection:
        rows = connection.execute(statement("plan_booked_pump"), [int(pump_id)]).fetchall()
    removed_on = rows[0][2] if rows else None
    if changed is None and rows and removed_on is None:
        raise EntryRefused(
            "changed-unsaid",
            f"Say whether the {rows[0][1]} pump of unit {rows[0][0]} was changed: it is in service by the "
            "records, and would be planned again.",
        )
    told, day = "", done_on or today or date.today()
    if rows and removed_on is None:
        _refuse_new_pump(ledger, pump_id, rows[0], day, today)
    if changed and rows and removed_on is None:
        if odometer_km is not None:
            odometer_km = _driven(ledger, rows[0][0], day, odometer_km)
        failed = _had_failed(ledger, pump_id, day, found)
        removal = Removal("failed" if failed else "on_condition", found=found, cause=reason)
        replace_pump(
            ledger, rows[0][0], removal, new, position=rows[0][1],
            on=day, odometer_km=odometer_km, author=author,
        )  # fmt: skip
        had = ", as of one that had failed" if failed else ""
        told = f" Its change is recorded{had}: capture the new pump now, for its baseline."
    return _decide(ledger, pump_id, "done", done_on, reason, author, today) + told


def _had_failed(ledger: Path, pump_id: int, day: date, found: str | None) -> bool:
    """Return whether the last word on a pump up to a day is that it no longer works, or it came in by a road
    call or without running, and a fault was found in it."""
    with open_ledger(ledger) as connection:
        told = {"pump_id": int(pump_id), "day": day}
        rows = connection.execute(statement("plan_last_visit"), told).fetchall()
        if not rows:
            return False
        visit_id, reason = rows[0]
        verdict = judge_visit(connection, visit_id)
    return verdict.failed or (found in FOUND_FAILED and (reason == "road-call" or verdict.not_working))


def _refuse_new_pump(ledger: Path, pump_id: int, row: tuple, day: date, today: date | None) -> None:
    """Raise EntryRefused where a pump that nobody booked was fitted on the day of the job or after it."""
    unit, position, fitted_on = row[0], row[1], row[8]
    if fitted_on is None or fitted_on < day:
        return
    standing = newest_decisions(ledger, today)
    if not (standing["status"].isin(STANDING) & (standing["pump_id"] == pump_id)).any():
        raise EntryRefused(
            "nothing-to-do",
            f"The {position} pump of unit {unit} was fitted on {fitted_on} and nothing is booked on it: the "
            "job of the pump before it is done already.",
        )


def _driven(ledger: Path, unit: str, on: date, shown_km: float) -> float:
    """Return what a unit has driven in all by its odometer; raises EntryRefused where that is in doubt."""
    with open_ledger(ledger) as connection:
        km = count_on(connection, unit, on, shown_km)
        asked = odometer_doubt(connection, unit, on, km)
    if asked is not None:
        raise EntryRefused(asked.code, f"{asked.text} Correct it, or leave the odometer out.")
    return km


def pump_meant(ledger: Path, unit: str, position: str | None = None) -> int:
    """Return the pump of a unit that is booked or pinned, though it may have come off since; else the one in
    service. Raises EntryRefused as `pump_in_service` does.
    """
    with open_ledger(ledger) as connection:
        rows = connection.execute(statement("plan_standing_of_unit"), [unit, position]).fetchall()
    return int(rows[0][0]) if len(rows) == 1 else pump_in_service(ledger, unit, position)


def withdraw(
    ledger: Path, pump_id: int, *, author: Author, reason: str = "", today: date | None = None
) -> str:
    """Take back whatever was decided: the pump is planned afresh."""
    return _decide(ledger, pump_id, "withdrawn", None, reason, author, today)


def pump_in_service(ledger: Path, unit: str, position: str | None = None) -> int:
    """Return the pump in service on a unit. Raises EntryRefused without one, and where several need a
    position.
    """
    with open_ledger(ledger) as connection:
        rows = connection.execute(statement("plan_pump_in_service"), [unit, position]).fetchall()
    if not rows:
        at = f" at position {position}" if position else ""
        raise EntryRefused("unknown-unit", f"No pump is in service on unit '{unit}'{at}.")
    if len({place for _, place in rows}) > 1:
        places = ", ".join(sorted({str(place) for _, place in rows}))
        raise EntryRefused("which-pump", f"Unit '{unit}' has several pumps ({places}); say --position.")
    return int(rows[0][0])


def day_proposed(ledger: Path, pump_id: int, today: date | None = None) -> date | None:
    """Return the day of a pump on the newest list kept (by `today`), or None."""
    with open_ledger(ledger) as connection:
        listed = last_list(connection, today or date.max)
    if listed is None:
        return None
    mine = listed[listed["pump_id"] == pump_id]
    return mine["planned_on"].iloc[0] if len(mine) else None


def newest_decisions(ledger: Path, as_of: date | None = None) -> pd.DataFrame:
    """Return the newest decision per pump: pump_id, status, planned_on, reason, risk, decided_by, …"""
    with open_ledger(ledger) as connection:
        return decisions_on(connection, as_of)


def decisions_on(connection: duckdb.DuckDBPyConnection, as_of: date | None = None) -> pd.DataFrame:
    """As `newest_decisions`, on an open connection."""
    return connection.execute(statement("plan_decisions"), [as_of]).df()


def accept(ledger: Path, plan: Any, *, author: Author, today: date | None = None) -> int:
    """Book every proposed change of a plan, decided on `today`; return how many were booked."""
    proposed = plan.lines[plan.lines["status"] == "proposed"]
    with (
        open_ledger(ledger, read_only=False) as connection,
        transaction(connection, author, "plan") as stamp,
    ):
        for row in proposed.to_dict("records"):
            _insert(
                connection, int(row["pump_id"]), "booked", row["planned_on"], "from the plan", stamp,
                today, float(row["risk_until_then"]), float(row["expected_saving"]),
            )  # fmt: skip
    return len(proposed)


def record_list(ledger: Path, plan: Any, *, author: Author) -> int:
    """Keep a plan as the current list, so that the next can say what changed; return its number."""
    jobs = plan.jobs
    lines = jobs[KEPT].assign(planned_on=jobs["planned_on"].astype(str))
    text = json.dumps(lines.to_dict("records"), default=float)
    with (
        open_ledger(ledger, read_only=False) as connection,
        transaction(connection, author, "plan") as stamp,
    ):
        list_id = new_id(connection, "plan_list")
        connection.execute(
            statement("plan_list_add"),
            [list_id, stamp.at, plan.today, stamp.by, plan.expected_saving, text],
        )
    return list_id


def last_list(connection: duckdb.DuckDBPyConnection, as_of: date) -> pd.DataFrame | None:
    """Return the lines of the newest list made for a day up to `as_of`, or None."""
    rows = connection.execute(statement("plan_last_list"), [as_of]).fetchall()
    if not rows:
        return None
    return _read_list(rows[0][0])


def listed_before(connection: duckdb.DuckDBPyConnection, as_of: date) -> tuple[pd.DataFrame, int]:
    """Return the newest line of each pump that any list kept up to a day held, and a number that grows with
    every list kept and every decision: the revision of what is handed out."""
    rows = connection.execute(statement("plan_lists"), [as_of]).fetchall()
    frames = [frame for (text,) in rows if (frame := _read_list(text)) is not None]
    lines = pd.concat(frames, ignore_index=True) if frames else pd.DataFrame(columns=KEPT)
    number = connection.execute(statement("plan_revision")).fetchall()[0][0]
    return lines.drop_duplicates("pump_id", keep="last"), int(number)


def _read_list(text: str) -> pd.DataFrame | None:
    frame = pd.DataFrame(json.loads(text))
    if frame.empty:
        return None
    frame = frame.assign(planned_on=pd.to_datetime(frame["planned_on"]).dt.date)
    return frame if "job" in frame else frame.assign(job="change")  # lists of before checks were work


def _demand(text: str, what: str) -> None:
    if not text or not text.strip():
        raise EntryRefused("reason-missing", f"Say {what}: a reason is kept with every such decision.")
    tidy(text, "The reason")


def _decide(ledger: Path, pump_id: int, status: str, planned_on: date | None, reason: str, author: Author,
            today: date | None = None, risk: float | None = None,
            expected_saving: float | None = None) -> str:  # fmt: skip
    decided_on, today = today, today or date.today()
    doubts: list[str] = []
    with open_ledger(ledger, read_only=False) as connection:
        rows = connection.execute(statement("plan_booked_pump"), [int(pump_id)]).fetchall()
        if not rows:
            raise EntryRefused("unknown-pump", f"There is no pump {pump_id} in this ledger.")
        unit, position = rows[0][:2]
        if status in STANDING:
            demand_possible(connection, pump_id, planned_on, today)
            doubts = booking_doubts(connection, pump_id, planned_on, today) if planned_on else []
        if doubts and not reason.strip():
            raise EntryRefused(
                "booking-doubt",
                f"The {position} pump of unit {unit} on {planned_on}: {'; '.join(doubts)}. "
                "Choose another day, or give a reason to book it all the same.",
            )
        with transaction(connection, author, "plan") as stamp:
            _insert(
                connection, int(pump_id), status, planned_on, reason, stamp, decided_on, risk, expected_saving
            )
    when = f" on {planned_on}" if planned_on else ""
    mind = f" Mind: {'; '.join(doubts)}." if doubts else ""
    what = "The job on the" if status == "done" else "The"
    return f"{what} {position} pump of unit {unit} is {_NOW.get(status, status)}{when}.{mind}"


def _insert(
    connection: duckdb.DuckDBPyConnection,
    pump_id: int,
    status: str,
    planned_on: date | None,
    reason: str,
    stamp: Stamp,
    decided_on: date | None,
    risk: float | None,
    expected_saving: float | None,
) -> None:
    decided_at = stamp.at if decided_on is None else datetime.combine(decided_on, stamp.at.time())
    connection.execute(
        statement("plan_decide"),
        [new_id(connection, "booking"), pump_id, status, planned_on, reason or None, risk, expected_saving,
         stamp.by, decided_at, stamp.at],
    )  # fmt: skip
