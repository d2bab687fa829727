"""The morning's report: what changed since the last one, on one screen; nothing where nothing did."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from functools import partial
from pathlib import Path
from typing import Any

import pandas as pd

from dashboard.data import queries
from dashboard.shell.paper import sheet
from dashboard.words import formats
from ingest.wording.stored import question_text

MOST = 12  # lines of one kind; the rest are counted
LOADED_FROM = 3  # entries about the past that became known at one instant: records were loaded
MARK = ".reported"  # beside the ledger: when the last report was made


@dataclass(frozen=True)
class Morning:
    """What changed between two instants. news: sentences under their kind, only kinds with something new;
    still: what stands open besides, in one sentence; loaded: what of the past came in with whole records, a
    sentence for each day of loading, which is no news."""

    since: datetime
    until: datetime
    depot: str
    news: dict[str, list[str]]
    still: str
    loaded: tuple[str, ...] = ()

    @property
    def is_silent(self) -> bool:
        """Return whether nothing changed."""
        return not self.news


def mark_of(ledger: Path, depot: str | None) -> Path:
    """Return the file that holds when the last morning's report on a depot, or on all, was made."""
    safe = "".join(ch if ch.isalnum() else "-" for ch in depot) if depot else "all"
    return ledger.with_name(f"{ledger.name}{MARK}-{safe}")


def last_made(ledger: Path, depot: str | None) -> datetime | None:
    """Return when the last one was made (UTC), or None."""
    try:
        return datetime.fromisoformat(mark_of(ledger, depot).read_text(encoding="utf-8").strip())
    except (OSError, ValueError):
        return None


def morning(
    ledger: Path,
    since: datetime,
    until: datetime,
    parts: pd.DataFrame,
    depot: str | None = None,
    *,
    pumps: pd.DataFrame | None = None,
    ask: Callable[..., pd.DataFrame] | None = None,
) -> Morning:
    """Return what became known after `since` (UTC) and what fell due after its day, up to `until`.

    parts: analytics.scheduling.parts.parts_table of the plan of today. pumps: those in service, as ranked
    today, for what the readings that came in say of pumps that stand or don't do their work. ask: how the
    ledger is asked (default: as one who sees every depot).
    """
    ask = ask or partial(queries.ask, ledger)
    today, before = until.date(), since.date()
    after: dict[str, Any] = {"since": since, "depot": depot}
    idle = _idle(pumps)
    failures, old_failures = _apart(ask("day_breakdowns", **after), "happened_on", before)
    is_earlier = _before(failures["happened_on"], before)
    faults, old_faults = _apart(ask("day_faults", idle=list(idle), **after), "visited_on", before)
    stands = old_faults["pump_id"].isin(list(idle))  # loaded with the past, and true today
    faults, old_faults = pd.concat([faults, old_faults[stands]]), old_faults[~stands]
    jobs = ask("day_jobs", today=today, depot=depot)
    doubts = ask("day_doubts", **after)
    questions = ask("day_questions", **after)
    day = pd.to_datetime(jobs["planned_on"]).dt.date if len(jobs) else pd.Series(dtype=object)
    due = jobs[(day > before) & (day == today)] if len(jobs) else jobs
    newly_late = jobs[(day >= before) & (day < today)] if len(jobs) else jobs
    late = jobs[day < today] if len(jobs) else jobs
    missing = late_parts(parts, before, today, depot)
    kinds = {
        "Failed on the road": _failures(failures[~is_earlier]),
        "Failed before that, on record only now": _failures(failures[is_earlier]),
        "Came in with a fault": [_fault(row, idle) for row in faults.to_dict("records")],
        "Due today": [_job(row) for row in due.to_dict("records")],
        "Late since the last report": [_job(row) for row in newly_late.to_dict("records")],
        "Parts late": missing,
        "Readings in doubt": [
            f"{_place(row)}, reading of {formats.day(row['visited_on'])}" for row in doubts.to_dict("records")
        ],
        "Questions": [_question(row) for row in questions.to_dict("records")],
    }
    asked = int(ask("day_open_questions", depot=depot)["open_questions"].iloc[0])
    still = f"Still open in all: {formats.count(len(late), 'late job')}, {formats.count(asked, 'question')}."
    news = {name: rows for name, rows in kinds.items() if rows}
    return Morning(since, until, depot or "", news, still, _loaded(old_failures, old_faults))


def _before(days: pd.Series, day: date) -> Any:
    return (pd.to_datetime(days) < pd.Timestamp(day)).to_numpy(bool)


def _apart(rows: pd.DataFrame, day: str, before: date) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return entries by themselves, and those about the past that came in with a load of many."""
    old = pd.Series(_before(rows[day], before), rows.index)
    together = old.groupby(rows["recorded_at"]).transform("sum") >= LOADED_FROM
    return rows[~(old & together)], rows[old & together]


def _loaded(failures: pd.DataFrame, faults: pd.DataFrame) -> tuple[str, ...]:
    """Return a sentence for each day on which records of the past were loaded."""
    counted: dict[date, list[str]] = {}
    for rows, nouns in ((failures, ("breakdown",)), (faults, ("visit for a fault", "visits for a fault"))):
        for on, mine in rows.groupby(pd.to_datetime(rows["recorded_at"]).dt.date):
            counted.setdefault(on, []).append(formats.count(len(mine), *nouns))
    return tuple(
        f"{' and '.join(said)} of the past came with the records loaded on {formats.day(on)}."
        for on, said in sorted(counted.items())
    )


def late_parts(parts: pd.DataFrame, before: date, today: date, depot: str | None) -> list[str]:
    """Return the parts whose last day to order has passed since `before`."""
    if not len(parts):
        return []
    rows = parts[(parts["to_order"] > 0) & parts["order_by"].notna()]
    if depot is not None:
        rows = rows[rows["depot"] == depot]
    last = pd.to_datetime(rows["order_by"]).dt.date
    rows = rows[(last >= before) & (last < today)]
    return [
        f"{formats.part_for(row)} should have been ordered by {formats.day(row['order_by'])}"
        for row in rows.to_dict("records")
    ]


def _place(row: dict) -> str:
    pump = "" if row["position"] == "main" else f", {row['position']}"
    return f"{row['unit']}{pump}" + ("" if formats.is_unknown(row["depot"]) else f" ({row['depot']})")


def _failures(rows: pd.DataFrame) -> list[str]:
    return [_failure(row) for row in rows.to_dict("records")]


def _failure(row: dict) -> str:
    sure = {"yes": "the pump", "no": "not the pump"}.get(row["pump_confirmed"], "cause not known yet")
    note = "" if formats.is_unknown(row["note"]) else f": {row['note']}"
    return f"{_place(row)} on {formats.day(row['happened_on'])}, {sure}{note}"


def _idle(pumps: pd.DataFrame | None) -> dict[int, str]:
    """Return the pumps that stand or don't do their work by the last word on them, and that word."""
    if pumps is None or not len(pumps):
        return {}
    rows = pumps[(pumps["status"] == "failed") | pumps["not_working"].astype(bool)]
    return dict(zip(rows["pump_id"].astype(int), rows["finding_text"].astype(str), strict=True))


def _fault(row: dict, idle: dict[int, str]) -> str:
    seen = {"complaint": "complaint", "road-call": "road call"}.get(row["reason"], "planned stop")
    told = None if formats.is_unknown(row["pump_id"]) else idle.get(int(row["pump_id"]))
    return f"{_place(row)} on {formats.day(row['visited_on'])}, {seen}" + (f": {told}" if told else "")


def _question(row: dict) -> str:
    text = question_text(row["code"], row["details"], row["text"])
    unit = row["unit"]
    return text if formats.is_unknown(unit) or unit in text else f"{unit}: {text}"


def _job(row: dict) -> str:
    return f"{_place(row)}, {row['pump_type']}, planned for {formats.day(row['planned_on'])}"


def _cut(rows: list[str]) -> list[str]:
    more = len(rows) - MOST
    return rows if more <= 0 else [*rows[:MOST], f"and {more:,} more"]


def title_of(made: Morning) -> str:
    """Return the report's title."""
    place = f", {made.depot}" if made.depot else ""
    return f"Fuel pumps{place}: what changed since {made.since:%Y-%m-%d %H:%M} UTC"


def text(made: Morning) -> str:
    """Return it for a terminal or a mail; empty where nothing changed."""
    if made.is_silent:
        return ""
    out = [title_of(made)]
    for name, rows in made.news.items():
        out += ["", f"{name}: {len(rows):,}", *(f"  {row}" for row in _cut(rows))]
    return "\n".join([*out, "", *made.loaded, made.still])


def html(made: Morning) -> str:
    """Return it as one file that needs nothing from outside; empty where nothing changed."""
    if made.is_silent:
        return ""
    tables = [(name, pd.DataFrame({f"{len(rows):,}": _cut(rows)})) for name, rows in made.news.items()]
    return sheet(title_of(made), tables, {"Besides": " ".join([*made.loaded, made.still])}, [], brief=True)
