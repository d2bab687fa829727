"""One table of a fleet folder as text cells: a CSV, or a sheet of a workbook."""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from ingest.errors import EntryRefused
from ingest.fleet_folder.report import RowProblem
from ingest.readers.workbook import is_workbook, read_workbook

WORKBOOKS = (".xlsx", ".xlsm", ".xlsb", ".xls", ".ods")
MOST_UNCLOSED = 100
_QUOTED = r'"(?:[^"]|"")*"'
_UTF16 = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)


@dataclass(frozen=True)
class Record:
    """One row as written; `row` counts as a spreadsheet does."""

    row: int
    cells: list[str]
    unclosed: bool = False


@dataclass(frozen=True)
class Sheet:
    """Header and cells as written. `cells`: a text column for each name of the header, and `file_row`, which
    counts as a spreadsheet does; `problems` are rows of the wrong width, which `cells` lacks; note: how the
    file's letters were read, where they don't say; semicolons: whether those part its cells."""

    header: list[str]
    cells: pd.DataFrame
    problems: list[RowProblem]
    total: int
    note: str = ""
    semicolons: bool = False


def find_sheet(folder: Path, file: str) -> tuple[Path, str | None] | None:
    """Return where a table stands (path, sheet of a workbook or None), or None where it is nowhere.

    `visits.csv` goes before a workbook `visits.xlsx`, and that before a sheet `visits` of any workbook.
    """
    stem = Path(file).stem
    by_name = {path.name.lower(): path for path in sorted(folder.iterdir(), reverse=True) if path.is_file()}
    if file in by_name:
        return by_name[file], None
    for ending in WORKBOOKS:
        if stem + ending in by_name:
            return by_name[stem + ending], ""
    for name in sorted(by_name):
        if name.endswith(WORKBOOKS) and not name.startswith((".", "~$")):
            try:
                sheets = _sheets(by_name[name])
            except EntryRefused:
                continue  # said where the folder's strangers are listed
            for title in sheets:
                if _plain(title) == stem:
                    return by_name[name], title
    return None


def read_sheet(path: Path, file: str, sheet: str | None = None, *, above: int = 0) -> Sheet:
    """Read one table; file: what the table is called; sheet: of a workbook ("": its first); above: rows that
    stand above its header.

    Raises EntryRefused for what is neither a CSV nor a workbook.
    """
    data = path.read_bytes()
    if is_workbook(data):
        sheets = _sheets(path)
        read = _from_rows(_chosen(sheets, sheet, file)[above:], file)
        read = replace(read, note="" if sheet or _named(sheets, file) else _joined_words(sheets))
    else:
        text, note = _read_text(data)
        text = _lines_ended(text)
        if above:
            text = "\n".join(text.split("\n")[above:])
            if not text.strip():
                raise EntryRefused("empty", f"nothing stands below row {above}.")
        read = replace(_split_cells(text, file), note=note)
    if above:
        read.cells["file_row"] += above
        problems = [replace(problem, row=problem.row + above) for problem in read.problems]
        read = replace(read, problems=problems)
    return read


def sheet_titles(path: Path) -> list[str | None]:
    """Return the sheets of a workbook, [""] where they are one table, or [None] for a file of text."""
    if not is_workbook(path.read_bytes()):
        return [None]
    sheets = _sheets(path)
    return [""] if len(_alike(sheets)) > 1 else list(sheets)


_read_before: dict[tuple[str, int, int], dict[str, list[list[str]]]] = {}


def _sheets(path: Path) -> dict[str, list[list[str]]]:
    """Return a workbook's sheets; the last one read is kept, since a folder's tables may all stand in it."""
    status = path.stat()
    key = (str(path), status.st_mtime_ns, status.st_size)
    if key not in _read_before:
        sheets = read_workbook(path.name, path.read_bytes())
        _read_before.clear()
        _read_before[key] = sheets
    return _read_before[key]


def _chosen(sheets: dict[str, list[list[str]]], sheet: str | None, file: str) -> list[list[str]]:
    if sheet:
        return sheets[sheet]
    named = _named(sheets, file)
    if named or len(sheets) == 1:
        return sheets[(named or list(sheets))[0]]
    if alike := _alike(sheets):
        first, *others = alike.values()
        return [*first, *(row for rows in others for row in _below_header(rows))]
    filled = _with_rows(sheets)
    if len(filled) != 1:
        titles = ", ".join(f"'{title}'" for title in sheets)
        raise EntryRefused(
            "which-sheet",
            f"the workbook has the sheets {titles}; call the one that is meant {Path(file).stem}.",
        )
    return sheets[filled[0]]


def _named(sheets: dict[str, list[list[str]]], file: str) -> list[str]:
    return [title for title in sheets if _plain(title) == Path(file).stem]


def _with_rows(sheets: dict[str, list[list[str]]]) -> list[str]:
    return [title for title, rows in sheets.items() if any(any(row) for row in rows)]


def _alike(sheets: dict[str, list[list[str]]]) -> dict[str, list[list[str]]]:
    """Return the filled sheets of a workbook that has one table over several of them, as a sheet a year has:
    those below one and the same header; none where they are not all alike."""
    filled = {title: sheets[title] for title in _with_rows(sheets)}
    headers = {
        tuple(cell.strip().lower() for cell in _filled(rows)[0] if cell.strip()) for rows in filled.values()
    }
    return filled if len(filled) > 1 and len(headers) == 1 and len(headers.pop()) > 1 else {}


def _below_header(rows: list[list[str]]) -> list[list[str]]:
    at = next(n for n, row in enumerate(rows) if any(cell.strip() for cell in row))
    return rows[at + 1 :]


def _joined_words(sheets: dict[str, list[list[str]]]) -> str:
    """Say which sheets were read as one table, and at which of its rows each begins; "" for none."""
    told, row = [], 1
    for k, (title, rows) in enumerate(_alike(sheets).items()):
        told.append(f"'{title}' from row {row}")
        row += len(rows if k == 0 else _below_header(rows))
    return (
        f"its sheets have one header and are one table, rows counted on: {', '.join(told)}." if told else ""
    )


def _plain(title: str) -> str:
    return re.sub(r"[\s_\-]+", "_", title.strip().lower())


def _read_text(data: bytes) -> tuple[str, str]:
    """Return a file's text and, where it is not UTF-8, a note on how its letters were read.

    Spreadsheets of western Europe and America write Windows-1252, which has no mark of its own: one of its
    words is shown, so that a person sees whether it is.
    """
    note = ""
    try:
        text = data.decode("utf-16" if data.startswith(_UTF16) else "utf-8-sig")
    except UnicodeDecodeError as error:
        at = error.start
        row = data[:at].count(b"\n") + 1
        try:
            text = data.decode("cp1252")
        except UnicodeDecodeError:
            said = f"row {row} is neither UTF-8 nor Windows-1252 text; save the file as CSV (UTF-8)."
            raise EntryRefused("not-utf8", said) from error
        word = max(re.findall(r"\w+", text[max(at - 20, 0) : at + 20]), key=lambda w: not w.isascii())
        note = f"row {row} is not UTF-8 and was read as Windows-1252 ('{word}'); if it is not, save as UTF-8."
    if "\x00" in text:
        raise EntryRefused("not-csv", "this is not a text file; save it as CSV (UTF-8).")
    if not text.strip():
        raise EntryRefused("empty", "the file is empty; it needs at least its header row.")
    return text, note


def _lines_ended(text: str) -> str:
    """Return the text with newlines at its line ends; one return in an unquoted cell becomes a blank."""
    text = text.lstrip("\r\n")
    if "\r" not in text:
        return text
    text = text.replace("\r\n", "\n")
    if "\r" not in text:
        return text
    if "\n" not in re.sub(_QUOTED, "", text):  # lines end in carriage returns alone
        return text.replace("\r", "\n")
    return re.sub(rf"{_QUOTED}|\r", lambda found: " " if found[0] == "\r" else found[0], text)


def _from_rows(rows: list[list[str]], file: str) -> Sheet:
    first, records = _filled(rows)
    return _gathered(_header(first), records, file)


def _filled(rows: list[list[str]]) -> tuple[list[str], list[Record]]:
    """Return the first row that holds anything, and the records below it."""
    filled = [Record(n, row) for n, row in enumerate(rows, start=1) if any(cell.strip() for cell in row)]
    if not filled:
        raise EntryRefused("empty", "the sheet is empty; it needs at least its header row.")
    return filled[0].cells, filled[1:]


def _split_cells(text: str, file: str) -> Sheet:
    first, delimiter = _first_line(text)
    header = _header(first)
    frame = None if text.count('"') % 2 else _fast_cells(text, delimiter, len(header))
    if frame is None:
        gathered = _gathered(header, _records(text, delimiter), file)
        return replace(gathered, semicolons=delimiter == ";")
    frame.columns = pd.Index(header)
    frame["file_row"] = np.arange(2, len(frame) + 2)
    return Sheet(header, frame, [], len(frame), semicolons=delimiter == ";")


def _header(names: list[str]) -> list[str]:
    header = [name.strip() for name in names]
    while header and not header[-1]:
        header.pop()
    if not header:
        raise EntryRefused("header", "its header row is blank; put the columns' names there.")
    repeated = {name for name in map(str.lower, header) if [h.lower() for h in header].count(name) > 1}
    if repeated:
        raise EntryRefused("header", f"column '{min(repeated)}' occurs twice; keep one of them.")
    return header


def _gathered(header: list[str], records: Iterable[Record], file: str) -> Sheet:
    rows, numbers, total, problems = [], [], 0, []
    for record in records:
        cells = record.cells
        if not any(cell.strip() for cell in cells):
            continue
        total += 1
        problem = ""
        if record.unclosed:
            problem = 'opens a quote (") that is never closed; close it, or take it out.'
        elif len(cells) < len(header) or any(cell.strip() for cell in cells[len(header) :]):
            what = f"has {len(cells)} cells where the header has {len(header)}"
            problem = f"{what}; a delimiter is missing or too many."
        if problem:
            problems.append(RowProblem(file, record.row, "", "cells", problem))
            continue
        rows.append(cells[: len(header)])
        numbers.append(record.row)
    frame = pd.DataFrame(rows, columns=pd.Index(header), dtype="str")
    frame["file_row"] = np.array(numbers, dtype="int64")
    return Sheet(header, frame, problems, total)


def _records(text: str, delimiter: str) -> Iterator[Record]:
    """Yield the records after the header. A quote that is never closed ends at its own line, so that it takes
    no other row with it."""
    lines = re.split(r"(?<=\n)", text)
    at, number, unclosed = 0, 0, 0
    while at < len(lines):
        reader, read = csv.reader(lines[at:], delimiter=delimiter), 0
        try:
            for cells in reader:
                begun, read = read, reader.line_num
                if read - begun > 1 and at + read >= len(lines) and _unclosed(lines[at + begun :], delimiter):
                    read = begun
                    break
                number += 1
                if number > 1:
                    yield Record(number, cells)
            else:
                return
        except csv.Error:  # a cell longer than any: what opened it is not closed
            pass
        at += read
        number, unclosed = number + 1, unclosed + 1
        if unclosed > MOST_UNCLOSED:
            raise EntryRefused("quotes", 'its quotes (") do not pair up; save the file as CSV (UTF-8) anew.')
        yield Record(number, lines[at].rstrip("\n").split(delimiter), unclosed=True)
        at += 1


def _unclosed(lines: list[str], delimiter: str) -> bool:
    """Return whether the record that begins here opens a quote that no line closes."""
    try:
        list(csv.reader(lines, delimiter=delimiter, strict=True))
    except csv.Error:
        return True
    return False


def _first_line(text: str) -> tuple[list[str], str]:
    """Return the cells of the header as written, and what separates them."""
    first = text.split("\n", 1)[0]
    delimiter = max(",;\t|", key=first.count)
    return next(csv.reader([first], delimiter=delimiter)), delimiter


def raw_records(
    path: Path, file: str, sheet: str | None = None, *, above: int = 0
) -> tuple[list[str], dict[int, list[str]]]:
    """Return header and cells as written, by row, those of the wrong width too; for mending."""
    data = path.read_bytes()
    if is_workbook(data):
        header, found = _filled(_chosen(_sheets(path), sheet, file)[above:])
        return header, {record.row + above: record.cells for record in found}
    text = "\n".join(_lines_ended(_read_text(data)[0]).split("\n")[above:])
    header, delimiter = _first_line(text)
    return header, {record.row + above: record.cells for record in _records(text, delimiter)}


def _fast_cells(text: str, delimiter: str, width: int) -> pd.DataFrame | None:
    """Return the cells when every row has exactly `width` of them, else None."""
    import pyarrow as pa
    import pyarrow.csv

    names = [str(i) for i in range(width)]
    try:
        cells = pyarrow.csv.read_csv(
            io.BytesIO(text.encode()),
            read_options=pyarrow.csv.ReadOptions(column_names=names, skip_rows=1, use_threads=False),
            parse_options=pyarrow.csv.ParseOptions(
                delimiter=delimiter, newlines_in_values='"' in text, ignore_empty_lines=False
            ),
            convert_options=pyarrow.csv.ConvertOptions(
                column_types=dict.fromkeys(names, pa.string()), strings_can_be_null=False
            ),
        )
    except pa.ArrowInvalid:
        return None
    return cells.to_pandas()
