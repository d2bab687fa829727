"""A clamp that was off by a factor: its readings since then scaled at one answer, and taken back as one.

A check on a known current that failed tells the factor (read / known), and so does a morning on which many
pumps moved alike (its median). Since when is told by the last check that passed, by the readings themselves
where they moved, or by a person.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import pandas as pd

from ingest.author import Author
from ingest.checking.clamp_shift import FEWEST_PUMPS
from ingest.errors import EntryRefused
from ingest.ledger.changes import change_cells, log_change, row_of
from ingest.ledger.clamps import Clamp, clamp_of
from ingest.ledger.connection import open_ledger
from ingest.ledger.rows import as_dicts
from ingest.ledger.settings import settings_at
from ingest.ledger.statements import statement
from ingest.ledger.transaction import Stamp, transaction
from ingest.readers.options import parse_probe
from ingest.typed import tidy
from ingest.visit.choices import Choice
from ingest.visit.clamp_factor import written
from ingest.visit.factor_corrected import measure_again
from ingest.visit.measured_anew import measured_as
from ingest.waveforms import load_waveform
from ingest.wording.sentence import SCALED

CODES = ("clamp-shift", "clamp-off")
SAME_SHARE = 0.5  # of ln factor: a day's shift as near to it as this is the same
APART = 1.5  # known currents so many times apart tell a factor from a zero that was left


@dataclass(frozen=True)
class Scaled:
    """An answer that scaled a clamp's readings: of which question, by what, since when, how many, by whom."""

    question_id: int
    clamp: str
    times: float
    since: date | None
    visits: int
    by: str
    at: date

    @property
    def text(self) -> str:
        """What was done, as a sentence."""
        readings = "1 reading" if self.visits == 1 else f"{self.visits:,} readings"
        since = f" since {self.since}" if self.since else ""
        return f"{self.at}, {self.by}: {readings} of clamp {self.clamp}{since} scaled by {self.times:.3f}."


def scalings(connection: duckdb.DuckDBPyConnection, row: Mapping[str, Any]) -> list[Choice]:
    """Return the answers that scale readings, to an open question (row) about a clamp that was off."""
    told = json.loads(row["details"])
    if row["code"] == "clamp-shift":
        return _of_a_morning(connection, told)
    return _of_a_check(connection, told)


def since_day(connection: duckdb.DuckDBPyConnection, row: Mapping[str, Any], day: date) -> Choice:
    """Return the answer that scales what was read since a day that a person names; EntryRefused where the
    checks tell of no factor."""
    told = json.loads(row["details"])
    checks = _checks(connection, told["clamp"])
    if not _is_factor(checks, told):
        raise EntryRefused(
            "no-factor",
            f"Clamp {told['clamp']} was off by amperes and no factor; its readings are not scaled.",
        )
    until = _until(checks, date.fromisoformat(told["day"]))
    return _choice(connection, told, "typed", f"Off since {day}", day, until)


def _of_a_morning(connection: duckdb.DuckDBPyConnection, told: Mapping[str, Any]) -> list[Choice]:
    day, clamp, times = date.fromisoformat(told["day"]), told["clamp"], 1 / (1 + told["pct"] / 100)
    rows = _rows(connection, clamp, day, None)
    held = [row for row in rows if row["visit_id"] in set(told["visits"])]
    found = [_scaling("scaled", f"Clamp {clamp} was off that day", held, times, day, day + timedelta(days=1))]
    if len(rows) > len(held):
        found.append(_scaling("scaled-since", f"It was off from {day} on", rows, times, day, None))
    return [choice for choice in found if choice is not None]


def _of_a_check(connection: duckdb.DuckDBPyConnection, told: Mapping[str, Any]) -> list[Choice]:
    clamp, failed = told["clamp"], date.fromisoformat(told["day"])
    checks = _checks(connection, clamp)
    if not _is_factor(checks, told):
        return []
    until = _until(checks, failed)
    last = max((check.day for check in checks if check.passed and check.day < failed), default=None)
    since = None if last is None else last + timedelta(days=1)
    found = []
    moved = _moved_on(connection, told, since, until)
    if moved is not None:
        said = f"Off since {moved}, when its pumps' readings moved"
        found.append(_choice(connection, told, "since-moved", said, moved, until))
    said = f"Off ever since its check of {last}" if last else f"Clamp {clamp} was off from the first"
    found.append(_choice(connection, told, "since-check", said, since, until))
    return found


def _choice(
    connection: duckdb.DuckDBPyConnection,
    told: Mapping[str, Any],
    key: str,
    said: str,
    since: date | None,
    until: date | None,
) -> Choice:
    """Return an answer to a check that failed. No check has passed since: its factor is put right as well."""
    times = told["known_a"] / told["read_a"]
    clamp = clamp_of(connection, told["clamp"])
    factor = written(parse_probe(clamp.factor) / times) if clamp and clamp.factor and until is None else None
    rows = _rows(connection, told["clamp"], since, until)
    if choice := _scaling(key, said, rows, times, since, until, factor):
        return choice
    values = {"factor": factor} if factor else {}
    label = f"{said}: nothing was read with it since" + (
        f"; put its factor right: {factor}" if factor else ""
    )
    return Choice(key, label, values, times=times, since=since, until=until)


def _scaling(
    key: str,
    said: str,
    rows: Sequence[Mapping[str, Any]],
    times: float,
    since: date | None,
    until: date | None,
    factor: str | None = None,
) -> Choice | None:
    if not rows:
        return None
    readings = "1 reading" if len(rows) == 1 else f"{len(rows):,} readings"
    also = f", and put its factor right: {factor}" if factor else ""
    label = f"{said}: scale {readings} by {times:.3f}{also}"
    return Choice(key, label, {"factor": factor} if factor else {}, times=times, since=since, until=until)


def _rows(
    connection: duckdb.DuckDBPyConnection, clamp: str, since: date | None, until: date | None
) -> list[dict[str, Any]]:
    asked = {"clamp": clamp, "since": since, "until": until}
    return as_dicts(connection.execute(statement("visit/read_with_clamp"), asked))


@dataclass(frozen=True)
class _Check:
    """One check of a clamp on a known current, and whether it passed."""

    day: date
    known_a: float
    read_a: float
    passed: bool


def _checks(connection: duckdb.DuckDBPyConnection, name: str) -> list[_Check]:
    """Return a clamp's checks."""
    clamp = clamp_of(connection, name) or Clamp(name)
    found = []
    for day, known_a, read_a in connection.execute(statement("visit/checks_of_clamp"), [name]).fetchall():
        within_a = clamp.within_a(known_a, settings_at(connection, day))
        found.append(_Check(day, known_a, read_a, abs(read_a - known_a) <= within_a))
    return found


def _until(checks: Sequence[_Check], failed: date) -> date | None:
    """Return the day of the first check after the failed one that passed, None without."""
    return min((check.day for check in checks if check.passed and check.day > failed), default=None)


def _is_factor(checks: Sequence[_Check], told: Mapping[str, Any]) -> bool:
    """Return whether a clamp was off by a factor: not where checks of the day at currents far apart agree
    better in amperes."""
    if told["read_a"] <= 0:
        return False
    day = date.fromisoformat(told["day"])
    that_day = [(check.known_a, check.read_a) for check in checks if check.day == day]
    known_a, read_a = np.array(that_day or [(1.0, 1.0)], float).T
    if known_a.max() < APART * known_a.min():
        return True
    by_factor = read_a - known_a * float(np.sum(read_a * known_a) / np.sum(known_a**2))
    by_amperes = read_a - known_a - float(np.mean(read_a - known_a))
    return bool(np.sum(by_factor**2) <= np.sum(by_amperes**2))


def _moved_on(
    connection: duckdb.DuckDBPyConnection, told: Mapping[str, Any], since: date | None, until: date | None
) -> date | None:
    """Return the day from which a clamp's readings lie nearer to what it was off by than to their pumps' own
    levels: a morning that is asked about, or where one change fits them best in absolute deviations. None
    where neither is told, or fewer than FEWEST_PUMPS lie on either side."""
    off = float(np.log(told["read_a"] / told["known_a"]))
    mornings = []
    for row in as_dicts(connection.execute(statement("visit/questions_of_clamp"), [told["clamp"]])):
        also = json.loads(row["details"])
        day = date.fromisoformat(also["day"])
        between = (since is None or day >= since) and (until is None or day < until)
        if row["code"] == "clamp-shift" and between and _near(np.log1p(also["pct"] / 100), off):
            mornings.append(day)
    rows = connection.execute(statement("visit/against_own_level"), {"since": since}).df()
    rows = rows[rows["clamp"] == told["clamp"]].sort_values(["visited_on", "visit_id"])
    if until is not None:
        rows = rows[rows["visited_on"] < pd.Timestamp(until)]
    days = [day.date() for day in rows["visited_on"]]
    logs = np.log(rows["mean_a"].to_numpy(float) / rows["level_a"].to_numpy(float))
    starts = [k for k in range(FEWEST_PUMPS, len(logs) - FEWEST_PUMPS + 1) if days[k] != days[k - 1]]
    if starts:
        before = np.concatenate([[0.0], np.cumsum(np.abs(logs))])
        after = np.concatenate([np.cumsum(np.abs(logs - off)[::-1])[::-1], [0.0]])
        best = min(starts, key=lambda k: before[k] + after[k])
        if _near(float(np.median(logs[best:])), off) and _near(off - float(np.median(logs[:best])), off):
            mornings.append(days[best])
    return min(mornings, default=None)


def _near(log: float, off: float) -> bool:
    return off != 0 and abs(log / off - 1) < SAME_SHARE


def scale(
    connection: duckdb.DuckDBPyConnection,
    ledger: Path | str,
    row: Mapping[str, Any],
    choice: Choice,
    stamp: Stamp,
    reason: str,
) -> list[int]:
    """Scale the readings that an answer means, in the caller's transaction; returns the visits that were held
    until then.

    Visits with a capture are measured again. What was done is kept with the question, so that it can be taken
    back. Further open questions about the same clamp whose readings are all among them are settled with it.
    """
    assert choice.times is not None
    told = json.loads(row["details"])
    rows = _rows(connection, told["clamp"], choice.since, choice.until)
    if row["code"] == "clamp-shift" and choice.until is not None:
        rows = [each for each in rows if each["visit_id"] in set(told["visits"])]
    done = []
    for each in rows:
        measure_again(connection, ledger, each["visit_id"], choice.times, stamp, reason)
        now = row_of(connection, "visit", each["visit_id"])
        assert now is not None
        done.append({"visit_id": each["visit_id"], "capture": each["capture_hash"], "probe": each["probe"],
                     "now": now["capture_hash"]})  # fmt: skip
    kept: dict[str, Any] = {
        "times": choice.times,
        "since": choice.since and str(choice.since),
        "visits": done,
    }
    if factor := choice.values.get("factor"):
        clamp = clamp_of(connection, told["clamp"])
        kept |= {"factor": [clamp and clamp.factor, factor]}
        change_cells(connection, "clamp", told["clamp"], {"factor": factor}, stamp, reason=reason)
    _keep(connection, row["question_id"], told | {SCALED: kept})
    ids = {each["visit_id"] for each in done}
    held = list(told.get("visits", ()))
    for other in as_dicts(connection.execute(statement("visit/questions_of_clamp"), [told["clamp"]])):
        also = json.loads(other["details"])
        same = other["question_id"] == row["question_id"] or other["code"] != "clamp-shift"
        if not same and set(also["visits"]) <= ids:
            _keep(connection, other["question_id"], also | {SCALED: {"by": row["question_id"]}})
            said = {"status": "corrected", "answer": tidy(reason, "answer"), "by": stamp.by, "at": stamp.at}
            connection.execute(
                statement("visit/answer_question"), said | {"question_id": other["question_id"]}
            )
            held += also["visits"]
    return [visit_id for visit_id in held if visit_id in ids]


def _keep(connection: duckdb.DuckDBPyConnection, question_id: int, details: Mapping[str, Any]) -> None:
    said = {"question_id": question_id, "details": json.dumps(details, ensure_ascii=False)}
    connection.execute(statement("visit/set_details"), said)


def scaled(connection: duckdb.DuckDBPyConnection, question_id: int | None = None) -> list[Scaled]:
    """Return the answers that scaled readings and were not taken back, the newest first."""
    return [
        Scaled(row["question_id"], told["clamp"], told[SCALED]["times"],
               date.fromisoformat(told[SCALED]["since"]) if told[SCALED]["since"] else None,
               len(told[SCALED]["visits"]), row["answered_by"], row["answered_at"].date())
        for row, told in _answered(connection, question_id) if "times" in told[SCALED]
    ]  # fmt: skip


def _answered(
    connection: duckdb.DuckDBPyConnection, question_id: int | None
) -> list[tuple[dict[str, Any], dict[str, Any]]]:
    rows = as_dicts(connection.execute(statement("visit/scaled_questions"), {"question_id": question_id}))
    return [(row, json.loads(row["details"])) for row in rows]


def take_back(ledger: Path | str, question_id: int, reason: str, author: Author, *, command: str) -> int:
    """Undo an answer that scaled a clamp's readings, all of it, and ask its question again; returns how many
    visits have their reading from before again.

    Raises EntryRefused without a reason, where there is no such answer, or a visit was changed since.
    """
    if not reason.strip():
        raise EntryRefused("missing", "Give a reason first: why the readings were right before.")
    with (
        open_ledger(ledger, read_only=False) as connection,
        transaction(connection, author, "correct", command=command) as stamp,
    ):
        found = [(row, told) for row, told in _answered(connection, question_id) if "times" in told[SCALED]]
        if not found:
            raise EntryRefused(
                "no-scaling", f"No answer to question {question_id} scaled readings (any more)."
            )
        [(row, told)] = found
        done = told[SCALED]
        for each in done["visits"]:
            _as_before(connection, ledger, each, done["times"], stamp, reason.strip())
        if "factor" in done:
            before, factor = done["factor"]
            clamp = clamp_of(connection, told["clamp"])
            if clamp and clamp.factor == factor:
                change_cells(
                    connection, "clamp", told["clamp"], {"factor": before}, stamp, reason=reason.strip()
                )
        asked = [(row, told)]
        asked += [(r, t) for r, t in _answered(connection, None) if t[SCALED].get("by") == question_id]
        for each_row, each_told in asked:
            details = {name: value for name, value in each_told.items() if name != SCALED}
            said = {
                "question_id": each_row["question_id"],
                "details": json.dumps(details, ensure_ascii=False),
            }
            connection.execute(statement("visit/open_again"), said)
            log_change(connection, each_row["table_name"], each_row["row_key"], each_row["code"], "corrected",
                       "open", stamp, reason=reason.strip())  # fmt: skip
            for visit_id in details.get("visits", ()):
                connection.execute(statement("visit/out_of_trend"), [visit_id])
        return len(done["visits"])


def _as_before(
    connection: duckdb.DuckDBPyConnection,
    ledger: Path | str,
    done: Mapping[str, Any],
    times: float,
    stamp: Stamp,
    reason: str,
) -> None:
    visit = row_of(connection, "visit", done["visit_id"])
    if visit is None or visit["capture_hash"] != done["now"]:
        raise EntryRefused(
            "changed-since",
            f"Visit {done['visit_id']} was changed after it was scaled; put it right by itself.",
        )
    if done["capture"] is None:
        measure_again(connection, ledger, done["visit_id"], 1 / times, stamp, reason)
        return
    measured_as(connection, ledger, visit, load_waveform(ledger, done["capture"]), stamp, reason)
    change_cells(connection, "visit", done["visit_id"], {"probe": done["probe"]}, stamp, reason=reason)
