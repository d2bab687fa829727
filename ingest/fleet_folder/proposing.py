"""A proposal of which tables the files of a folder hold and which columns are meant, from headers and cells.

A header is held against the words of each column; its cells then have to be of the column's kind. What two
headers say alike, and what words say but cells don't, is told and left out: nothing is guessed.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from ingest.errors import EntryRefused
from ingest.fleet_folder.column_words import FILES, folded
from ingest.fleet_folder.header_columns import (
    columns_of,
    filled,
    names_a_column,
    told_by_header,
    unmeant,
)
from ingest.fleet_folder.job_texts import changes_told, spoken
from ingest.fleet_folder.mapping import Mapped, Source
from ingest.fleet_folder.sheets import WORKBOOKS, Sheet, read_sheet, sheet_titles
from ingest.fleet_folder.tables import (
    BREAKDOWNS,
    METRIC_NAMES,
    ODOMETERS,
    PUMPS,
    SERVICES,
    TABLES,
    VEHICLES,
    VISITS,
    Table,
    column_meant,
)

NAMED_BY_FILE = 3.0
MOST_ABOVE = 15  # rows above a header
FEWEST_JOBS = 2  # rows of many that tell of a changed pump
BESIDE = (VEHICLES, PUMPS)  # tables whose facts often stand in another's rows


@dataclass(frozen=True)
class Proposed:
    """One table found in a file: how to read it, a cell of each column, headers left out, and doubts.

    untold: cells of a column of words that none of its words is told for; rows: how many are meant, and of
    how many, where not all are.
    """

    mapped: Mapped
    examples: dict[str, str]
    left_out: tuple[str, ...]
    doubts: tuple[str, ...]
    untold: dict[str, tuple[str, ...]] = field(default_factory=dict)
    rows: tuple[int, int] | None = None


@dataclass(frozen=True)
class Proposal:
    """What a folder's other files seem to hold; `strange`: files of which nothing could be told, with why."""

    tables: tuple[Proposed, ...]
    strange: tuple[str, ...]

    def lines(self) -> list[str]:
        """Return the proposal as text, a line a column."""
        out = []
        for one in self.tables:
            where = f", sheet {one.mapped.sheet}" if one.mapped.sheet else ""
            below = f", header in row {one.mapped.header_row}" if one.mapped.header_row > 1 else ""
            out.append(f"{one.mapped.file}{where}{below} holds {one.mapped.table.file}{_rows_told(one)}:")
            for name, source in one.mapped.columns.items():
                unit = f" in {source.unit}" if source.unit else ""
                unit += ", blank cells as above them" if source.from_above else ""
                told = f", such as {one.examples[name]}" if one.examples.get(name) else ""
                out.append(f"  {name:<18} '{source.header}'{unit}{told}")
                out += [f"  {'':<18}   '{cell}' is {value}" for cell, value in source.values.items()]
            out += [f"  left out: {', '.join(one.left_out)}"] if one.left_out else []
            out += [f"  ? {doubt}" for doubt in one.doubts]
        return [*out, *self.strange]


def propose(folder: Path, distance_unit: str) -> Proposal:
    """Look at the files of a folder that are no tables of a fleet folder by name.

    Raises EntryRefused where there is no folder, or two files seem to hold one table.
    """
    if not folder.is_dir():
        raise EntryRefused("no-folder", f"There is no folder {folder}.")
    own = {Path(table.file).stem for table in TABLES}
    found: list[tuple[Path, list[Proposed]]] = []
    strange: list[str] = []
    for path in sorted(folder.iterdir()):
        ending = path.suffix.lower()
        if not path.is_file() or path.name.startswith((".", "~$")):
            continue
        if path.stem.lower() in own and _is_read_as_it_is(path):
            continue
        if ending not in (".csv", ".tsv", ".txt", *WORKBOOKS):
            continue
        try:
            found.append((path, _of_file(path, distance_unit)))
        except EntryRefused as refused:
            strange.append(f"{path.name}: {refused.text}")
    _leave_visits_to_readings(found, distance_unit)
    tables: list[Proposed] = []
    taken: dict[str, str] = {}
    for path, proposed in found:
        told = {one.mapped.sheet or "" for one in proposed}
        for title in [""] if not proposed else [t for t in sheet_titles(path) if (t or "") not in told]:
            if said := _nothing_told(path, distance_unit, title):
                strange.append(said)
    # what is the table itself goes before rows that are picked out of another
    for one in sorted(
        (one for _, proposed in found for one in proposed), key=lambda one: one.rows is not None
    ):
        file = one.mapped.table.file
        if file in taken:
            strange.append(_twice(one, taken[file]))
            continue
        taken[file] = _where(one.mapped)
        tables.append(one)
    return Proposal(tuple(sorted(tables, key=lambda one: one.mapped.file)), tuple(strange))


def _twice(one: Proposed, other: str) -> str:
    """Say what to do about a second file that seems to hold a table."""
    file, entry = one.mapped.table.file, f"{_as_written(one.mapped)}, holds and its columns"
    if one.rows is not None and one.mapped.only is not None:
        return (
            f"{_where(one.mapped)} tells of {one.rows[0]:,} changed pumps in '{one.mapped.only.header}', and"
            f" {other} holds {file}. Load this folder, then that file from a folder of its own:"
            " --propose --save-columns there picks those rows."
        )
    return (
        f"{_where(one.mapped)} seems to hold {file} as {other} does, and one load takes one of them. If it"
        f" holds another table, --save-columns and give it a [[table]] of its own in columns.toml: {entry}."
        " If it is more of the same, put their rows in one, or load one of them from a folder of its own."
    )


def _leave_visits_to_readings(found: list[tuple[Path, list[Proposed]]], distance_unit: str) -> None:
    """Look again at files that seem to hold visits and no reading, where another's visits have some: what
    else they may hold, such as odometers. A file of visits with captures or readings stays."""
    visits = [(path, one) for path, proposed in found for one in proposed if one.mapped.table is VISITS]
    with_readings = {path for path, one in visits if _has_readings(one.mapped.columns)}
    if not with_readings or len(visits) < 2:
        return
    for at, (path, proposed) in enumerate(found):
        bare = any(one.mapped.table is VISITS for one in proposed) and path not in with_readings
        if bare and (other := _of_file(path, distance_unit, without=(VISITS, BREAKDOWNS))):
            found[at] = (path, other)


def _has_readings(columns: Mapping[str, Source]) -> bool:
    return not {"capture", "meter_a", *METRIC_NAMES}.isdisjoint(columns)


def _rows_told(one: Proposed) -> str:
    if one.rows is None or one.mapped.only is None:
        return ""
    meant, of = one.rows
    return f", {meant:,} of its {of:,} rows: those whose '{one.mapped.only.header}' tells of a changed pump"


def _as_written(mapped: Mapped) -> str:
    """Return how columns.toml names a file, and its sheet."""
    sheet = f', sheet = "{mapped.sheet}"' if mapped.sheet else ""
    return f'file = "{mapped.file}"{sheet}'


def _where(mapped: Mapped) -> str:
    return f"{mapped.file}, sheet {mapped.sheet}," if mapped.sheet else mapped.file


def _nothing_told(path: Path, distance_unit: str, only: str | None = None) -> str:
    """Say which table a file, or one of its sheets, came nearest to, and what it lacks for it; "" of an empty
    sheet. only: the sheet, "" for all."""
    nearest: tuple[float, str] = (0.0, "its headers tell of no table")
    headers = False
    for title in [only] if only else sheet_titles(path):
        _, read = _with_header(path, title)
        if read is None:
            continue
        headers, told = True, told_by_header(read)
        for table in TABLES:
            columns, _, score = columns_of(table, read, told, distance_unit)
            lacking = [c.name for c in table.columns if c.required and c.name not in columns]
            if score > nearest[0] and columns:
                found = ", ".join(f"'{source.header}' for {name}" for name, source in columns.items())
                lacks = f", but nothing in it is {', '.join(lacking)}" if lacking else ""
                nearest = (score, f"most like {table.file} ({found}){lacks}")
    if only and not headers:
        return ""
    where = f"{path.name}, sheet {only}" if only else path.name
    return f"{where}: {nearest[1]}; say in columns.toml what it holds, or give it such a column."


def _is_read_as_it_is(path: Path) -> bool:
    """Return whether a file that has the name of a table has the table's own columns, too."""
    table = next(table for table in TABLES if Path(table.file).stem == path.stem.lower())
    try:
        header = read_sheet(path, table.file, "" if path.suffix.lower() in WORKBOOKS else None).header
    except EntryRefused:
        return True  # said where it is loaded
    named = {column_meant(name, table) for name in header}
    return all(column.name in named for column in table.columns if column.required)


def _of_file(path: Path, distance_unit: str, *, without: Collection[Table] = ()) -> list[Proposed]:
    """Return the tables that a file seems to hold; without: tables that it is not to hold."""
    out: list[Proposed] = []
    for title in sheet_titles(path):
        above, read = _with_header(path, title)
        if read is None:
            continue
        named = set(re.findall(r"[a-z]+", folded(f"{path.stem} {title or ''}")))
        scored, told = [], told_by_header(read)
        for table in TABLES:
            if table in without:
                continue
            columns, doubts, score = columns_of(table, read, told, distance_unit)
            if all(c.name in columns for c in table.columns if c.required) and len(columns) > 1:
                hint = NAMED_BY_FILE if named & set(FILES.get(table.file, ())) else 0.0
                scored.append((score + hint, table, columns, doubts))
        jobs = _pump_jobs(read, told, distance_unit, path.name, title, above)
        if jobs is not None and not any(t is VISITS and _has_readings(c) for _, t, c, _ in scored):
            out.append(jobs)
            if jobs.rows is None:
                continue
            scored = [each for each in scored if each[1] in (ODOMETERS, SERVICES)]  # the cards themselves
        if not scored:
            continue
        scored.sort(key=lambda each: -each[0])
        _, table, columns, doubts = scored[0]
        if len(scored) > 1 and scored[1][0] == scored[0][0]:
            doubts = [*doubts, f"it may as well hold {scored[1][1].file}"]
        used = {source.header for source in columns.values()}
        beside = []
        for other in BESIDE:
            if other is table:
                continue
            known = columns_of(other, read, told, distance_unit)[0]
            more = {n: s for n, s in known.items() if s.header not in used}
            one_list = table is PUMPS or any(_names_pump(source.header) for source in more.values())
            tells = len(more) >= 2 or (table in BESIDE and one_list and len(more) == 1)
            if tells and "unit" in columns and other.key[0] == "unit":
                beside.append((other, {"unit": columns["unit"]} | more))
                used |= {source.header for source in more.values()}
        left = tuple(header for header in read.header if header not in used)
        for which, chosen, said, rest in [
            (table, columns, doubts, left),
            *((o, c, [], ()) for o, c in beside),
        ]:
            mapped = Mapped(which, path.name, chosen, title or None, above + 1)
            examples = {name: _example(read.cells[source.header]) for name, source in chosen.items()}
            untold = {
                name: tuple(unmeant(filled(read.cells[source.header]), which.by_name[name], source.values))
                for name, source in chosen.items()
            }
            out.append(Proposed(mapped, examples, rest, tuple(said), untold))
    return out


def _pump_jobs(
    read: Sheet, told: dict[str, pd.Series], distance_unit: str, file: str, title: str | None, above: int
) -> Proposed | None:
    """Return pumps.csv as jobs tell it whose text speaks of changed fuel pumps, None where none does: each
    was fitted on the day of its job, at its odometer."""
    columns, doubts, _ = columns_of(PUMPS, read, told, distance_unit, as_jobs=True)
    if not {"unit", "fitted_on"} <= set(columns) or "removed_on" in columns:
        return None
    used = {source.header for source in columns.values()}
    for header, cells in told.items():
        only = changes_told(cells, header) if header not in used else None
        if only is None:
            continue
        meant = spoken(read.cells[header], only)
        some = None if meant.all() else (int(meant.sum()), len(meant))
        if some and some[0] < FEWEST_JOBS:
            continue
        said = [*doubts, "When and why each pump before it came off is asked once they are loaded, one answer"
                         " for all."]  # fmt: skip
        mapped = Mapped(PUMPS, file, columns, title or None, above + 1, only if some else None)
        examples = {name: _example(read.cells[source.header]) for name, source in columns.items()}
        left = () if some else tuple(name for name in read.header if name not in used)
        return Proposed(mapped, examples, left, tuple(said), {}, some)
    return None


def _names_pump(header: str) -> bool:
    return bool(re.search(r"pump|bomba|pompe", folded(header)))


def _with_header(path: Path, title: str | None) -> tuple[int, Sheet | None]:
    """Return the rows above the header, and the sheet below them: the first row that names columns."""
    best: tuple[int, int, Sheet | None] = (0, 0, None)
    for above in range(MOST_ABOVE):
        try:
            read = read_sheet(path, path.name, title, above=above)
        except EntryRefused as refused:
            if refused.code in ("not-utf8", "not-csv") or (refused.code == "empty" and not above):
                raise
            continue
        known = sum(1 for header in read.header if names_a_column(header))
        further = best[2] is not None and read.header == best[2].header  # a blank row stood above it
        if (known > best[0] or further) and read.total > len(read.problems):
            best = (known, above, read)
    return best[1], best[2]


def _example(cells: pd.Series) -> str:
    some = filled(cells)
    return " ".join(str(some.iloc[0]).split())[:40] if len(some) else ""
