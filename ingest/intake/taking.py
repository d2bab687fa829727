"""A folder of captures taken in: each measured, matched to a unit and put into the tray, once."""

from __future__ import annotations

import hashlib
import os
import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path
from typing import Any

from ingest.apart.child import BUSY
from ingest.author import Author
from ingest.chains.chain import CaptureResult, Chain, Link, Work
from ingest.chains.running import Progress, Where, run_chains
from ingest.errors import EntryRefused
from ingest.fleet_folder.sheets import WORKBOOKS
from ingest.fleet_folder.tables import TABLES, VISITS
from ingest.harmless import as_file_name
from ingest.intake.matching import Match, Place, match, sidecar, sidecars
from ingest.intake.tray import Arrival, put_in_tray
from ingest.ledger.clamps import Clamp, clamps, read_as
from ingest.ledger.connection import open_ledger
from ingest.ledger.settings import settings_at
from ingest.ledger.statements import statement
from ingest.ledger.waveform_home import refuse_other, refuse_without_ledger
from ingest.object_path import changed_at
from ingest.settings_in_force import Settings
from ingest.waiting import waiting_folder
from ingest.waveforms import waveform_folder

# A folder's files have no factor of their own to be given: their clamp has it.
_ASKS_FACTOR = re.compile(r"say what (the clamp|one ampere) gives with --probe.*")
_NAME_CLAMP = "name the clamp that they were taken with, on record with its factor."
MOST_NAMED = 5
_OWN_TABLE = Path(VISITS.file).stem  # whose workbook may say of which unit each file is
_NO_CAPTURES = {"fleet.toml", *(table.file for table in TABLES)}


@dataclass(frozen=True)
class _Known:
    """What the ledger says when a folder is taken in."""

    captures: frozenset[str]
    files: frozenset[str]
    places: tuple[Place, ...]
    without_pump: frozenset[str]
    clamps: dict[str, Clamp]
    settings: Settings
    rule: str


def capture_files(folder: Path) -> list[Path]:
    """Return the files of a folder that may be captures, by name; EntryRefused where there is no folder."""
    if not folder.is_dir():
        raise EntryRefused("no-folder", f"There is no folder {folder}.")
    try:
        there = list(folder.iterdir())
    except OSError as error:
        raise EntryRefused("folder-unread", f"{folder} can't be read: {error.strerror or error}.") from error
    stems = Counter(path.stem for path in there)
    return sorted(path for path in there if path.is_file() and _may_be(path, stems))


def left_alone(folder: Path) -> str:
    """Say in one sentence which folders and workbooks of a folder are not looked into; "" where all is."""
    there = sorted(p for p in folder.iterdir() if not p.name.startswith((".", "~$")))
    folders = [as_file_name(path.name) for path in there if path.is_dir()]
    books = [
        as_file_name(p.name)
        for p in there
        if p.name.lower().endswith(WORKBOOKS) and p.stem.lower() != _OWN_TABLE
    ]
    said = [f"the folder {name}" for name in folders] + [f"the workbook {name}" for name in books]
    if not said:
        return ""
    more = f" and {len(said) - MOST_NAMED:,} more" if len(said) > MOST_NAMED else ""
    what = "; ".join(
        [
            *(["take each folder by itself"] if folders else []),
            *(["save a capture that is in a workbook as CSV"] if books else []),
        ]
    )
    return f"Not looked into: {', '.join(said[:MOST_NAMED])}{more}; {what}."


def _may_be(path: Path, stems: Counter[str]) -> bool:
    name = path.name
    if name.startswith((".", "~$")) or name.lower() in _NO_CAPTURES or name.lower().endswith(WORKBOOKS):
        return False
    if path.suffix.lower() == ".json":  # a sidecar, if there is something it stands beside
        return stems[path.stem] == 1
    return True


def take_folder(
    ledger: Path,
    folder: Path,
    *,
    author: Author,
    clamp: str | None = None,
    sample_rate: float | None = None,
    full_scale: float | None = None,
    files: Iterable[Path] | None = None,
    progress: Progress | None = None,
    where: Where | None = None,
) -> list[Arrival]:
    """Take the captures of a folder (or those of its `files`) into the tray; returns what became of each.

    clamp: which clamp they were taken with, where no sidecar or name says. sample_rate: samples a second of
    files that don't say it. full_scale: amperes that audio files mean by it. where: where they are measured
    (default: a process on each core). A file that the ledger has already as a visit or in the tray is told so
    and left, but for its unit, where that is told by now. One that this machine was too busy to read is tried
    once more when the others are done. Should it be broken off, what is measured waits for
    the next time. Raises EntryRefused for a clamp that is not on record.
    """
    wanted = capture_files(folder) if files is None else list(files)
    known = _known(ledger)
    if clamp is not None and clamp not in known.clamps:
        on_record = ", ".join(known.clamps) or "none"
        raise EntryRefused(
            "unknown-clamp", f"Clamp {clamp} is not on record (there are: {on_record}); register it first."
        )
    told, wrong = sidecars(folder, known.settings["distance_unit"])
    hashes = {path: _hash(path) for path in wanted}
    matches = {path: _matched(path, known, told, wrong) for path in wanted}
    links = {
        path: replace(
            _link(path, matches[path], clamp, known), sample_rate=sample_rate, full_scale=full_scale
        )
        for path in wanted
    }
    work = Work(waveform_folder(ledger), dict.fromkeys(known.captures))
    # whose pump it is nobody has said yet: each file is a chain of its own
    chains = [Chain(link.name, (link,)) for path, link in links.items() if hashes[path] not in known.files]
    run = run_chains(chains, work, where=where, waiting=waiting_folder(ledger), progress=progress)
    starved = [chain for chain in chains if too_busy(run.rows.get(chain.name))]
    if starved:  # once more when the rest is done, and one after the other
        alone = Where(processes=1) if where is None or where.cluster is None else where
        run.rows.update(run_chains(starved, work, where=alone, waiting=waiting_folder(ledger)).rows)
    arrivals = [
        _arrival(
            link,
            hashes[path],
            run.rows.get(link.name, CaptureResult(link.name)),
            matches[path],
            matches[path].clamp or clamp,
        )
        for path, link in links.items()
    ]
    arrived = put_in_tray(ledger, arrivals, author=author)
    run.published()
    return arrived


def too_busy(result: CaptureResult | None) -> bool:
    """Return whether a file got no answer in time on a busy machine, and may get one when tried again."""
    return result is not None and result.refused is not None and BUSY in result.refused


def has_units(ledger: Path) -> bool:
    """Return whether any pump in service is on record, so that files can be matched at all."""
    with open_ledger(ledger) as connection:
        return bool(connection.execute(statement("intake/places")).fetchall())


def _known(ledger: Path) -> _Known:
    if not ledger.exists():
        refuse_without_ledger(ledger)
    with open_ledger(ledger, read_only=ledger.exists()) as connection:
        settings = settings_at(connection)
        refuse_other(connection, ledger)
        hashes = connection.execute(statement("intake/captures_known")).fetchall()
        files = connection.execute(statement("intake/files_known")).fetchall()
        places = connection.execute(statement("intake/places")).fetchall()
        bare = connection.execute(statement("intake/without_pump")).fetchall()
        return _Known(
            frozenset(value for (value,) in hashes),
            frozenset(value for (value,) in files),
            tuple(Place(*row) for row in places),
            frozenset(unit for (unit,) in bare),
            clamps(connection),
            settings,
            str(settings["capture_name_rule"]),
        )


def _matched(path: Path, known: _Known, told: dict[str, dict[str, Any]], wrong: dict[str, str]) -> Match:
    try:
        beside = told.get(path.name) or sidecar(path, known.settings["distance_unit"])
        found = match(as_file_name(path.name), beside, known.places, known.rule, known.without_pump)
    except EntryRefused as refused:
        found = Match(reason=refused.text)
    return Match(reason=wrong[path.name], day=found.day) if path.name in wrong else found


def _link(path: Path, found: Match, clamp: str | None, known: _Known) -> Link:
    with_clamp = known.clamps.get(found.clamp or clamp or "")
    probe, channel = read_as(with_clamp, found.entry.get("probe"), found.entry.get("channel"))
    return Link(str(path), path, probe=probe, channel=channel)


def _hash(path: Path) -> str:
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:  # gone meanwhile, or not ours to read: reading it says so
        return hashlib.sha256(os.fsencode(path)).hexdigest()


def _arrival(link: Link, file_hash: str, result: CaptureResult, found: Match, clamp: str | None) -> Arrival:
    assert link.path is not None
    captured = result.about.captured_at if result.about else None
    if result.refused:
        result = replace(result, refused=_ASKS_FACTOR.sub(_NAME_CLAMP, result.refused))
    try:
        written = datetime.fromtimestamp(changed_at(link.path)).date()
    except OSError:
        written = date.today()
    return Arrival(
        file_name=as_file_name(link.path.name),
        file_hash=file_hash,
        match=found,
        result=result,
        captured_on=found.day or (captured.date() if captured else written),
        clamp=clamp,
        probe=link.probe,
    )
