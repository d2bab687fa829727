"""Look the ledger and its waveforms over: what is damaged, missing, left over or stored twice.

Reading alone changes nothing. `adopt` gives waveforms that no capture row knows a row and a question for a
person; `clean` removes them instead, and unfinished files; both leave alone what is younger than a day,
which a load that is still running may be about to refer to.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import duckdb

from ingest.author import PROGRAM
from ingest.capture import Capture
from ingest.errors import LedgerError
from ingest.ledger.connection import open_ledger
from ingest.ledger.questions import raise_question
from ingest.ledger.statements import statement
from ingest.ledger.tables import fingerprint, table_names
from ingest.ledger.transaction import transaction
from ingest.ledger.visit_rows import insert_capture
from ingest.ledger.waveform_home import ledger_id, not_ours, owner
from ingest.object_path import Place, changed_at, inside
from ingest.waiting import drop_all_waiting, waiting_folder
from ingest.waveforms import TEMPORARY, read_waveform, store_waveform, waveform_folder
from ingest.wording.questions import capture_without_visit
from ingest.wording.stored import question_text

YOUNG_S = 24 * 3600.0
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Finding:
    """One thing found. "problem": something is wrong or lost; "info": harmless, or done."""

    code: str
    level: Literal["problem", "info"]
    text: str


@dataclass(frozen=True)
class Checked:
    """What a check looked at and found."""

    rows: dict[str, int]
    waveforms: int
    findings: tuple[Finding, ...] = field(default_factory=tuple)

    @property
    def sound(self) -> bool:
        """True when nothing is wrong."""
        return not any(f.level == "problem" for f in self.findings)


def check_ledger(
    ledger: Path | str,
    *,
    adopt: bool = False,
    clean: bool = False,
    young_s: float = YOUNG_S,
    progress: Progress | None = None,
) -> Checked:
    """Read every table and waveform of `ledger` and say what is wrong.

    progress(done, of) follows the waveforms. Raises LedgerError when the ledger can't be opened at all
    (see `salvage`).
    """
    ledger = Path(ledger)
    if adopt or clean:  # says whose the waveforms are before any is removed
        with open_ledger(ledger, read_only=False):
            pass
    with open_ledger(ledger) as connection:
        rows, findings = _read_tables(connection)
        folder = waveform_folder(ledger)
        if "ledger_identity" in rows and owner(folder) not in (None, ledger_id(connection)):
            findings.append(Finding("waveforms-of-another", "problem", not_ours(folder)))
            return Checked(rows, 0, tuple(findings))
        if not findings:
            findings += _broken_rows(connection)
            findings += _open_losses(connection)
            captures = connection.execute(statement("upkeep/captures")).fetchall()
        else:
            captures = []
    if any(f.code == "table-unreadable" for f in findings):
        return Checked(rows, 0, tuple(findings))
    known = {capture_hash: (visit_id, unit) for capture_hash, visit_id, unit, _ in captures}
    kept = {capture_hash: known[capture_hash] for capture_hash, *_, removed_on in captures if not removed_on}
    files = {p.stem: p for p in inside(waveform_folder(ledger), "*.parquet")}
    findings += _missing(kept, files)
    read = 0
    for read, (capture_hash, path) in enumerate(files.items(), start=1):
        findings += _look_at(
            ledger, path, known.get(capture_hash), capture_hash in known, adopt, clean, young_s
        )
        if progress:
            progress(read, len(files))
    findings += _unfinished(ledger, clean, young_s) + _waiting(ledger, clean, young_s)
    return Checked(rows, read, tuple(findings))


def _read_tables(connection: duckdb.DuckDBPyConnection) -> tuple[dict[str, int], list[Finding]]:
    rows, findings = {}, []
    for name in table_names(connection):
        try:
            rows[name] = fingerprint(connection, name)[0]
        except duckdb.Error as error:
            said = str(error).splitlines()[0]
            text = (
                f"The table {name} can't be read ({said}): pumpledger check --repair keeps the file and"
                " saves what can be read."
            )
            findings.append(Finding("table-unreadable", "problem", text))
    return rows, findings


def _broken_rows(connection: duckdb.DuckDBPyConnection) -> list[Finding]:
    findings = [
        Finding("reference", "problem", f"{table} {key}: {missing} is missing.")
        for table, key, missing in connection.execute(statement("upkeep/broken_references")).fetchall()
    ]
    findings += [
        Finding("stored-twice", "problem", f"Stored more than once: {what}.")
        for (what,) in connection.execute(statement("upkeep/stored_twice")).fetchall()
    ]
    findings += [
        Finding(
            "lives-overlap",
            "problem",
            f"Unit {unit}, position {position}: pumps {a} and {b} overlap in time.",
        )
        for unit, position, a, b in connection.execute(statement("upkeep/overlapping_lives")).fetchall()
    ]
    return findings


def _open_losses(connection: duckdb.DuckDBPyConnection) -> list[Finding]:
    rows = connection.execute(statement("upkeep/open_losses")).fetchall()
    return [Finding("changes-lost", "info", question_text(*row)) for row in rows]


def _missing(known: dict[str, tuple[int | None, str | None]], files: dict[str, Place]) -> list[Finding]:
    return [
        Finding(
            "waveform-missing",
            "problem",
            f"The waveform of capture {capture_hash[:12]}… ({_held_by(*held)}) is missing; its readings"
            " stand. Copy the file back from a backup.",
        )
        for capture_hash, held in known.items()
        if capture_hash not in files
    ]


def _held_by(visit_id: int | None, unit: str | None) -> str:
    return f"visit {visit_id} of unit {unit}" if visit_id is not None else "no visit"


def _look_at(
    ledger: Path,
    path: Place,
    held: tuple[int | None, str | None] | None,
    is_known: bool,
    adopt: bool,
    clean: bool,
    young_s: float,
) -> list[Finding]:
    try:
        capture = read_waveform(path)
    except LedgerError as error:
        where = f" It belongs to {_held_by(*held)}." if held else ""
        return [Finding("waveform-damaged", "problem", error.text + where)]
    if is_known:
        return []
    name = f"{path.name[:12]}… ({capture.source or 'no file name'})"
    if clean and _age_s(path) >= young_s:
        path.unlink()
        return [Finding("orphan-removed", "info", f"Removed the waveform {name}, which no visit refers to.")]
    if adopt:
        return [_adopt(ledger, capture, name)]
    text = (
        f"The waveform {name} belongs to no visit (harmless): --adopt keeps it with a question, --clean"
        " removes it."
    )
    return [Finding("orphan", "info", text)]


def _adopt(ledger: Path, capture: Capture, name: str) -> Finding:
    asked = capture_without_visit(name)
    with open_ledger(ledger, read_only=False) as connection, transaction(connection, PROGRAM, "work"):
        insert_capture(connection, capture, store_waveform(ledger, capture))
        raise_question(connection, "capture", capture.identity, asked)
    return Finding("orphan-adopted", "info", asked.text)


def _unfinished(ledger: Path, clean: bool, young_s: float) -> list[Finding]:
    findings = []
    for path in inside(waveform_folder(ledger), f"*{TEMPORARY}"):
        if clean and _age_s(path) >= young_s:
            path.unlink()
            findings.append(
                Finding("unfinished-removed", "info", f"Removed the unfinished file {path.name}.")
            )
        else:
            text = f"{path.name} was never finished (harmless); --clean removes it a day later."
            findings.append(Finding("unfinished", "info", text))
    return findings


def _waiting(ledger: Path, clean: bool, young_s: float) -> list[Finding]:
    waiting = waiting_folder(ledger)
    if not waiting.is_dir():
        return []
    old = clean and all(_age_s(path) >= young_s for path in waiting.iterdir())
    if old:
        drop_all_waiting(ledger)
        return [Finding("measured-removed", "info", f"Removed {waiting.name}, measured and never stored.")]
    text = (
        f"{waiting.name} holds readings of a run that was broken off (harmless): the same command again goes"
        " on from them; --clean removes them a day later."
    )
    return [Finding("measured", "info", text)]


def _age_s(path: Place) -> float:
    return time.time() - changed_at(path)
