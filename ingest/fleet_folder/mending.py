"""The refused rows of a folder as a folder of their own: to mend, and to load again.

Each file begins with the column `refused_because`, which a later load passes over. A file that could not be
read at all goes along as it is.
"""

from __future__ import annotations

import csv
import io
import shutil
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from ingest.errors import EntryRefused
from ingest.fleet_folder.mapping import Mapped, read_mapping, save_mapping
from ingest.fleet_folder.report import RowProblem
from ingest.fleet_folder.settings_file import FILE as FLEET_FILE
from ingest.fleet_folder.sheets import WORKBOOKS, find_sheet, raw_records
from ingest.fleet_folder.tables import REFUSED_BECAUSE, VISITS, column_meant


def refused_files(folder: Path, refused: Sequence[RowProblem]) -> dict[str, bytes]:
    """Return the content of a file for each table of `folder` that had rows refused, by its name."""
    files: dict[str, bytes] = {}
    mapped = read_mapping(folder)
    sources: dict[str, tuple[Path, str | None, int, list[RowProblem]]] = {}  # by the name written
    for file in dict.fromkeys(problem.file for problem in refused):
        mine = mapped.get(file)
        found = (folder / mine.file, mine.sheet) if mine else find_sheet(folder, file)
        if found is None:
            continue
        path, sheet = found
        name, above = (_name_of(mine), mine.header_row - 1) if mine else (file, 0)
        problems = [problem for problem in refused if problem.file == file]
        sources.setdefault(name, (path, sheet, above, []))[3].extend(problems)
    for name, (path, sheet, above, problems) in sources.items():
        if any(problem.row == 0 for problem in problems):
            files[path.name] = path.read_bytes()
        else:
            files[name] = _rows_of(path, name, sheet, above, problems)
    return files


def _name_of(mine: Mapped) -> str:
    """Return what the file is called that a table's refused rows are written to."""
    path = Path(mine.file)
    if path.suffix.lower() not in WORKBOOKS:
        return mine.file
    return f"{path.stem} {mine.sheet}.csv" if mine.sheet else f"{path.stem}.csv"


def _rows_of(path: Path, file: str, sheet: str | None, above: int, problems: list[RowProblem]) -> bytes:
    header, records = raw_records(path, file, sheet, above=above)
    why: dict[int, list[str]] = {}
    for problem in problems:
        why.setdefault(problem.row, []).append(problem.sentence().partition(" ")[2])
    out = io.StringIO()
    write = csv.writer(out, lineterminator="\n")
    rows = [cells for row, cells in records.items() if row in why]
    because = REFUSED_BECAUSE in (column_meant(name, VISITS) for name in header[:1])  # refused before
    write.writerow([REFUSED_BECAUSE, *(header[1:] if because else header)])
    for row, cells in zip((r for r in records if r in why), rows, strict=True):
        write.writerow(["; ".join(dict.fromkeys(why[row])), *(cells[1:] if because else cells)])
    return out.getvalue().encode()


def write_refused(folder: Path, refused: Sequence[RowProblem], to: Path) -> list[Path]:
    """Write the refused rows of `folder` into a new folder beside its fleet.toml and the captures they name.

    Raises EntryRefused where `to` holds anything already, or can't be written.
    """
    if to.exists() and (not to.is_dir() or any(to.iterdir())):
        raise EntryRefused("folder-exists", f"{to} is there already; choose a new or empty folder.")
    try:
        to.mkdir(parents=True, exist_ok=True)
        written = []
        for name, content in refused_files(folder, refused).items():
            (to / name).write_bytes(content)
            written.append(to / name)
        if (folder / FLEET_FILE).exists():
            shutil.copyfile(folder / FLEET_FILE, to / FLEET_FILE)
        if as_written := _mapped(folder, refused):
            save_mapping(as_written, to)
        _copy_captures(folder, to)
    except OSError as error:
        raise EntryRefused("not-written", f"{to} can't be written: {error.strerror or error}.") from error
    return written


def _mapped(folder: Path, refused: Sequence[RowProblem]) -> list[Mapped]:
    """Return the tables of columns.toml that have refused rows, as these are written."""
    out = []
    for file, one in read_mapping(folder).items():
        rows = [problem.row for problem in refused if problem.file == file]
        if rows:
            whole = 0 in rows
            out.append(one if whole else replace(one, file=_name_of(one), sheet=None, header_row=1))
    return out


def _copy_captures(folder: Path, to: Path) -> None:
    path = to / VISITS.file
    if not path.exists() or not (folder / "captures").is_dir():
        return
    header, records = raw_records(path, VISITS.file)
    at = [place for place, name in enumerate(header) if column_meant(name, VISITS) == "capture"]
    for cells in records.values():
        name = cells[at[0]].strip() if at and at[0] < len(cells) else ""
        source = folder / "captures" / name
        if name and source.is_file() and source.resolve().is_relative_to(folder.resolve()):
            target = to / "captures" / name
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(source, target)
