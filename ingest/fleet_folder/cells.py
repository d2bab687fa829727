"""Read one CSV of a fleet folder: text first, then each column at once; bad cells by row and field."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from ingest.checking.identifiers import MANGLED
from ingest.dates import read_dates
from ingest.errors import EntryRefused
from ingest.fleet_folder.report import RowProblem, asked
from ingest.fleet_folder.tables import SYNONYMS, Column, Table
from ingest.typed import LONGEST_NAME, LONGEST_TEXT, text_problem
from ingest.units import UNITS, parse_number, read_quantity
from ingest.wording.questions import mangled_identifier


@dataclass(frozen=True)
class ReadTable:
    """A CSV read: `rows` has ledger column names, kept units and None/NaN/NaT for blank, and `file_row`.

    Rows with a problem that keeps them out are not in `rows`; `given` are the ledger columns the file has.
    """

    table: Table
    rows: pd.DataFrame
    given: tuple[str, ...]
    total: int
    refused: tuple[RowProblem, ...]
    questions: tuple[RowProblem, ...]
    notices: tuple[str, ...]


def read_table(
    path: Path, table: Table, *, distance_unit: str, date_order: str = "", time_zone: str = ""
) -> ReadTable:
    """Read and check `path`. Raises EntryRefused for a file that is no readable CSV of this table."""
    text = _read_text(path)
    header, frame, problems, total = _split_cells(text, path.name)
    frame, notices = _name_columns(header, frame, table, path.name)
    bad: list[RowProblem] = problems
    found: list[RowProblem] = []
    refused_rows = np.zeros(len(frame), dtype=bool)
    values: dict[str, pd.Series] = {}
    for column in table.columns:
        if column.name not in frame:
            continue
        cells = frame[column.name].fillna("").str.strip()
        if column.kind == "date":
            read = read_dates(cells, order=date_order, time_zone=time_zone)
            value, problem = read.local_date, read.problem
            if column.name == "visited_on":
                values["visited_at"], values["time_zone"] = read.utc, read.zone.replace("", None)
        else:
            value, problem = read_column(cells, column, distance_unit)
        if column.required:
            problem = problem.mask((cells == "") & (problem == ""), "is missing")
        if column.kind == "distance":
            values[f"{column.name}_entered"] = value
            value = value * UNITS[distance_unit].factor
        values[column.target] = value
        wrong = (problem != "").to_numpy()
        refused_rows |= wrong
        code = "missing" if column.required else "unreadable"
        bad += [
            RowProblem(path.name, int(row), column.name, code, text)
            for row, text in zip(frame["file_row"][wrong], problem[wrong], strict=True)
        ]
        if column.kind == "id":
            odd = cells.isin([c for c in cells.unique() if re.match(MANGLED, c)]).to_numpy() & ~wrong
            for row, cell in zip(frame["file_row"][odd], cells[odd], strict=True):
                found.append(asked(path.name, int(row), mangled_identifier(cell), column.name))
    rows = pd.DataFrame({"file_row": frame["file_row"], **values})[~refused_rows].reset_index(drop=True)
    bad_rows = {problem.row for problem in bad}
    found = [question for question in found if question.row not in bad_rows]
    given = tuple(name for name in values if not name.endswith("_entered"))
    return ReadTable(
        table, rows, given, total, tuple(sorted(bad, key=lambda p: p.row)), tuple(found), tuple(notices)
    )


def _read_text(path: Path) -> str:
    data = path.read_bytes()
    if data.startswith(b"PK\x03\x04"):
        raise EntryRefused("not-csv", "this is a spreadsheet workbook; save it as CSV (UTF-8).")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        row = data[: error.start].count(b"\n") + 1
        raise EntryRefused(
            "not-utf8", f"row {row} is not UTF-8 text; save the file as CSV (UTF-8)."
        ) from error
    if "\x00" in text:
        raise EntryRefused("not-csv", "this is not a text file; save it as CSV (UTF-8).")
    if not text.strip():
        raise EntryRefused("empty", "the file is empty; it needs at least its header row.")
    return text


def _split_cells(text: str, file: str) -> tuple[list[str], pd.DataFrame, list[RowProblem], int]:
    """Return header, cells as text with `file_row`, rows of the wrong width, and the number of data rows."""
    first = text.lstrip("\r\n").split("\n", 1)[0]
    delimiter = max(",;\t|", key=first.count)
    header = [name.strip().lower() for name in next(csv.reader([first], delimiter=delimiter))]
    while header and not header[-1]:
        header.pop()
    repeated = {name for name in header if header.count(name) > 1}
    if repeated:
        raise EntryRefused("header", f"column '{min(repeated)}' occurs twice; keep one of them.")
    frame = _fast_cells(text, delimiter, len(header))
    problems: list[RowProblem] = []
    if frame is not None:
        frame.columns = pd.Index(header)
        frame["file_row"] = np.arange(2, len(frame) + 2)
        return header, frame, problems, len(frame)
    rows, numbers, total = [], [], 0
    for number, cells in enumerate(csv.reader(io.StringIO(text), delimiter=delimiter), start=1):
        if number == 1 or not any(cell.strip() for cell in cells):
            continue
        total += 1
        extra = [cell for cell in cells[len(header) :] if cell.strip()]
        if extra or len(cells) < len(header):
            what = f"has {len(cells)} cells where the header has {len(header)}"
            problems.append(
                RowProblem(file, number, "", "cells", f"{what}; a delimiter is missing or too many.")
            )
            continue
        rows.append(cells[: len(header)])
        numbers.append(number)
    frame = pd.DataFrame(rows, columns=pd.Index(header), dtype="str")
    frame["file_row"] = np.array(numbers, dtype="int64")
    return header, frame, problems, total


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


def _name_columns(
    header: list[str], frame: pd.DataFrame, table: Table, file: str
) -> tuple[pd.DataFrame, list[str]]:
    frame = frame.rename(columns=SYNONYMS.get(table.file, {}))
    known = table.by_name
    missing = [column.name for column in table.columns if column.required and column.name not in frame]
    if missing:
        raise EntryRefused(
            "column-missing", f"column {_listed(missing)} is missing; the header has {_listed(header)}."
        )
    unknown = [name for name in frame.columns if name not in known and name != "file_row"]
    notices = [f"{file}: unknown column {_listed(unknown)} left out."] if unknown else []
    return frame.drop(columns=unknown), notices


def _listed(names: list[str]) -> str:
    return ", ".join(f"'{name}'" for name in names)


def _is_plain(cells: pd.Series) -> bool:
    """Return whether all cells are short and of plain letters, as nearly all columns are."""
    return not (cells.str.len().max() > LONGEST_NAME or cells.str.contains(r"[^\x20-\x7e]").any())


# The apostrophe an export puts before text that a spreadsheet would take for a formula.
_GUARDED = r"^'(?='*\s*[=+\-@＝＋－＠])"


def read_column(cells: pd.Series, column: Column, distance_unit: str) -> tuple[pd.Series, pd.Series]:
    """Return the values of one column and, per row, what is wrong with it ("" where nothing is)."""
    problem = pd.Series("", index=cells.index, dtype="object")
    if column.kind in ("text", "id"):
        if cells.str.startswith("'").any():
            cells = cells.str.replace(_GUARDED, "", regex=True)
        if not _is_plain(cells):
            longest = LONGEST_NAME if column.kind == "id" else LONGEST_TEXT
            problem = cells.map(lambda cell: text_problem(cell, longest)).astype("object")
            cells = cells.str.normalize("NFC").where(problem == "", "")
        return cells.astype("object").where(cells != "", None), problem
    if column.kind == "choice":
        return _read_choice(cells, column, problem)
    given = (cells != "").to_numpy()
    if not given.any():
        return pd.Series(np.nan, index=cells.index), problem
    value = _fast_numbers(cells, given)
    unread = given & value.isna().to_numpy()
    for place in cells.index[unread]:
        try:
            value[place] = _slow_number(cells[place], column, distance_unit)
        except EntryRefused as refused:
            problem[place] = re.sub(r"^[^:]*: ", "", refused.text)
    if column.kind == "integer":
        fraction = (value % 1 != 0) & value.notna()
        problem[fraction] = "'" + cells[fraction] + "' is not a whole number"
    outside = (value < column.low) | (value > column.high)
    outside &= problem == ""
    limits = f"it must lie between {column.low:g} and {column.high:g}"
    problem[outside] = "'" + cells[outside] + f"' is impossible; {limits}"
    return value, problem


def _fast_numbers(cells: pd.Series, given: np.ndarray) -> pd.Series:
    """The numbers in plain notation; NaN for blanks and for anything else."""
    import pyarrow as pa

    plain = cells.where(given)
    try:
        numbers = pa.array(plain, type=pa.large_string(), from_pandas=True).cast(pa.float64())
        value = pd.Series(np.asarray(numbers.to_numpy(zero_copy_only=False)), index=cells.index)
    except (pa.ArrowInvalid, pa.ArrowTypeError):
        value = pd.to_numeric(plain, errors="coerce").astype("float64")
    return value.where(np.isfinite(value))


def _slow_number(cell: str, column: Column, distance_unit: str) -> float:
    """A number with a decimal comma or a unit of its own."""
    own = distance_unit if column.kind == "distance" else column.unit
    if not own:
        return parse_number(cell, field=column.name)
    quantity = read_quantity(cell, UNITS[own].kind, default_unit=own, field=column.name)
    if column.kind == "distance" and quantity.unit != own:
        raise EntryRefused(
            "other-unit", f"{column.name}: '{cell}' is not in {own}, the folder's distance unit"
        )
    return quantity.entered if quantity.unit == own else quantity.value


def _read_choice(cells: pd.Series, column: Column, problem: pd.Series) -> tuple[pd.Series, pd.Series]:
    spelled = {re.sub(r"[\s_-]", "", choice): choice for choice in column.choices}
    place, distinct = pd.factorize(cells)
    meant = [spelled.get(re.sub(r"[\s_-]", "", cell.lower())) for cell in distinct]
    value = pd.Series(np.array(meant, dtype=object)[place], index=cells.index, dtype="object")
    wrong = (cells != "") & value.isna()
    problem[wrong] = "'" + cells[wrong] + f"' is not one of {', '.join(column.choices)}"
    return value, problem
