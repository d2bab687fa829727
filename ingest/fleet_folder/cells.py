"""The cells of one table: text first, then each column at once; bad cells by row and field."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from ingest.checking.identifiers import MANGLED
from ingest.dates import read_dates
from ingest.errors import EntryRefused
from ingest.fleet_folder.contradictions import contradictions
from ingest.fleet_folder.mapping import Mapped, applied
from ingest.fleet_folder.report import RowProblem, asked
from ingest.fleet_folder.sheets import read_sheet
from ingest.fleet_folder.tables import REFUSED_BECAUSE, Column, Table, column_meant
from ingest.readers.options import parse_probe
from ingest.typed import LONGEST_NAME, blank_spellings, text_problem
from ingest.units import UNITS, parse_number, read_quantity
from ingest.wording.questions import mangled_identifier


@dataclass(frozen=True)
class ReadTable:
    """A table read: `rows` has ledger column names, kept units and None/NaN/NaT for blank, and `file_row`;
    of each distance also what was entered, and its unit.

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
    path: Path,
    table: Table,
    *,
    sheet: str | None = None,
    distance_unit: str,
    date_order: str | Mapping[str, str] = "",
    time_zone: str = "",
    mapped: Mapped | None = None,
) -> ReadTable:
    """Read and check `path`; sheet: which of a workbook; mapped: its columns, where they have other names.

    Raises EntryRefused for a file that is no readable table of this kind.
    """
    read_in = read_sheet(path, table.file, sheet, above=mapped.header_row - 1 if mapped else 0)
    if mapped is not None:
        read_in = applied(mapped, read_in, distance_unit)
    frame, notices = _name_columns(read_in.header, read_in.cells, table)
    bad: list[RowProblem] = list(read_in.problems)
    found: list[RowProblem] = []
    if "unit" in frame:
        sums = frame["unit"].fillna("").str.strip().str.fullmatch(_SUMS)
        bad += [
            RowProblem(table.file, int(row), "unit", "sums", f"'{cell}' {_READS_LIKE_SUMS}")
            for row, cell in zip(frame["file_row"][sums], frame["unit"][sums], strict=True)
        ]
        frame = frame[~sums].reset_index(drop=True)
    refused_rows = np.zeros(len(frame), dtype=bool)
    values: dict[str, pd.Series] = {}
    entered: dict[str, pd.Series] = {}
    numbers = [c.name for c in table.columns if c.kind in ("number", "distance") and c.name in frame]
    commas = any(has_decimal_commas(frame[name]) for name in numbers)
    by_semicolons = read_in.semicolons and not commas  # which stand where a comma is a decimal one
    commas |= by_semicolons and not any(frame[name].str.fullmatch(_DECIMAL_POINT).any() for name in numbers)
    if read_in.note:
        notices.append(f"{table.file}: {read_in.note}")
    for column in table.columns:
        if column.name not in frame:
            continue
        cells = _without_blank_words(frame[column.name].fillna("").str.strip(), column)
        if not column.required and (cells == "").all():
            value, problem = _blank(cells, column), pd.Series("", index=cells.index, dtype="object")
        elif column.kind == "date":
            read = read_dates(cells, order=date_order, time_zone=time_zone)
            value, problem = read.local_date, read.problem
            if column.name == "visited_on":
                values["visited_at"], values["time_zone"] = read.utc, read.zone.replace("", None)
        elif column.kind == "distance":
            value, as_entered, unit, problem = _read_distances(cells, column, distance_unit, commas=commas)
            if commas and (example := _with_thousands_points(cells)):
                why = "semicolons part the cells" if by_semicolons else "other numbers have decimal commas"
                plain = example.replace(".", "")
                notices.append(f"{table.file}: {column.name} '{example}' is read as {plain}, as {why}.")
            entered |= {f"{column.name}_entered": as_entered, f"{column.name}_unit": unit}
        else:
            if column.name in _MONEY and (signs := set("".join(cells)) & set("$€£")):
                notices.append(
                    f"{table.file}: {column.name} has the sign {' and '.join(sorted(signs))}; amounts are"
                    " taken in the fleet's currency, and none is converted."
                )
            value, problem = read_column(cells, column, distance_unit)
        if column.required:
            problem = problem.mask((cells == "") & (problem == ""), "is missing")
        values[column.target] = value
        wrong = (problem != "").to_numpy()
        refused_rows |= wrong
        code = "missing" if column.required else "unreadable"
        bad += [
            RowProblem(table.file, int(row), column.name, code, text)
            for row, text in zip(frame["file_row"][wrong], problem[wrong], strict=True)
        ]
        if column.kind == "id":
            odd = cells.isin([c for c in cells.unique() if re.match(MANGLED, c)]).to_numpy() & ~wrong
            for row, cell in zip(frame["file_row"][odd], cells[odd], strict=True):
                found.append(asked(table.file, int(row), mangled_identifier(cell), column.name))
    rows = pd.DataFrame({"file_row": frame["file_row"], **values, **entered})
    for place, field, text in contradictions(rows):
        refused_rows[place] = True
        bad.append(RowProblem(table.file, int(rows["file_row"].iloc[place]), field, "contradiction", text))
    rows = rows[~refused_rows].reset_index(drop=True)
    bad_rows = {problem.row for problem in bad}
    found = [question for question in found if question.row not in bad_rows]
    return ReadTable(
        table,
        rows,
        tuple(values),
        read_in.total,
        tuple(sorted(bad, key=lambda p: p.row)),
        tuple(found),
        tuple(notices),
    )


def _blank(cells: pd.Series, column: Column) -> pd.Series:
    if column.kind in ("date", "moment"):
        return pd.Series(pd.NaT, index=cells.index, dtype="datetime64[us]")
    if column.kind in ("number", "integer", "distance"):
        return pd.Series(np.nan, index=cells.index)
    return pd.Series(None, index=cells.index, dtype="object")


def _without_blank_words(cells: pd.Series, column: Column) -> pd.Series:
    """Return the cells with what says that there is nothing, such as n/a, as blanks."""
    words = blank_spellings(text=column.kind in ("text", "id")) - set(column.choices)
    said = words.intersection(cells.unique())
    return cells.mask(cells.isin(said), "") if said else cells


def _name_columns(header: list[str], frame: pd.DataFrame, table: Table) -> tuple[pd.DataFrame, list[str]]:
    known = table.by_name
    named: dict[str, str] = {}
    for name in header:
        meant = column_meant(name, table)
        if meant in named.values():
            first = next(n for n, m in named.items() if m == meant)
            raise EntryRefused("header", f"columns {_listed([first, name])} both mean {meant}; keep one.")
        named[name] = meant
    missing = [
        column.name for column in table.columns if column.required and column.name not in named.values()
    ]
    if missing:
        raise EntryRefused(
            "column-missing", f"column {_listed(missing)} is missing; the header has {_listed(header)}."
        )
    unknown = [name for name in header if named[name] not in known]
    told = [name for name in unknown if named[name] != REFUSED_BECAUSE]
    notices = [f"{table.file}: unknown column {_listed(told)} left out."] if told else []
    return frame.drop(columns=unknown).rename(columns=named), notices


def _listed(names: list[str]) -> str:
    return ", ".join(f"'{name}'" for name in names)


def _is_plain(cells: pd.Series) -> bool:
    """Return whether all cells are short and of plain letters, as nearly all columns are."""
    return not (cells.str.len().max() > LONGEST_NAME or cells.str.contains(r"[^\x20-\x7e]").any())


_YES_OR_NO = dict.fromkeys(("y", "true", "1", "ja", "si", "sí", "oui"), "yes") | dict.fromkeys(
    ("n", "false", "0", "nein", "non"), "no"
)
# The apostrophe an export puts before text that a spreadsheet would take for a formula.
_GUARDED = r"^'(?='*\s*[=+\-@＝＋－＠])"


def read_column(
    cells: pd.Series, column: Column, distance_unit: str, *, commas: bool = False
) -> tuple[pd.Series, pd.Series]:
    """Return the values of one column in the ledger's units and, per row, what is wrong with it ("" where
    nothing is). distance_unit: of a bare number in a column of distances; commas: whether other numbers of
    the table have decimal commas."""
    problem = pd.Series("", index=cells.index, dtype="object")
    if column.kind == "distance":
        value, _, _, problem = _read_distances(cells, column, distance_unit, commas=commas)
        return value, problem
    if column.kind in ("text", "id"):
        if cells.str.startswith("'").any():
            cells = cells.str.replace(_GUARDED, "", regex=True)
        if not _is_plain(cells):
            problem = cells.map(lambda cell: text_problem(cell, column.longest)).astype("object")
            cells = cells.str.normalize("NFC").where(problem == "", "")
        if column.name in ("probe", "factor"):
            problem = _probe_problems(cells, problem)
        return cells.astype("object").where(cells != "", None), problem
    if column.kind == "choice":
        return _read_choice(cells, column, problem)
    if column.kind == "moment":
        moments = pd.to_datetime(cells.where(cells != "", None), format="ISO8601", errors="coerce")
        problem[(cells != "") & moments.isna()] = "it is no time written like 2026-03-31 14:05:00"
        return moments.astype("datetime64[us]"), problem
    given = (cells != "").to_numpy()
    if not given.any():
        return pd.Series(np.nan, index=cells.index), problem
    if column.name in _MONEY:
        cells = cells.str.replace(_CURRENCY, "", regex=True)
    value = _fast_numbers(cells, given)
    unread = given & value.isna().to_numpy()
    for place in cells.index[unread]:
        try:
            value[place] = _slow_number(cells[place], column)
        except EntryRefused as refused:
            problem[place] = _without_field(refused)
    if column.kind == "integer":
        fraction = (value % 1 != 0) & value.notna()
        problem[fraction] = "'" + cells[fraction] + "' is not a whole number"
    return value, _outside(cells, value, column, problem)


def _outside(cells: pd.Series, value: pd.Series, column: Column, problem: pd.Series) -> pd.Series:
    outside = ((value < column.low) | (value > column.high)) & (problem == "")
    limits = f"it must lie between {column.low:g} and {column.high:g}"
    if column.kind == "distance":
        limits += " km"
    problem[outside] = "'" + cells[outside] + f"' is impossible; {limits}"
    return problem


def _without_field(refused: EntryRefused) -> str:
    return re.sub(r"^[^:]*: ", "", refused.text).rstrip(".")


# A row below the last, which a spreadsheet sums up in.
_SUMS = (
    r"(?i)(grand |sub)?totals?:?|sums?:?|summen?:?|gesamt:?|suma:?|somme:?"
    r"|\d+ (vehicles|units|trucks|buses|cars|vans|rows|records|fahrzeuge|vehiculos|vehicules)( total)?\.?"
)
_READS_LIKE_SUMS = "reads like a row of sums, not a unit; take it out"
_MONEY = ("cost", "price")
_CURRENCY = r"^\s*[$€£]\s*|\s*[$€£]\s*$"
_DECIMAL_COMMA = r"\s*[+-]?\d+,(\d{1,2}|\d{4,})\s*[^\d\s,.;]{0,6}\s*"
_DECIMAL_POINT = r"[+-]?\d+\.(\d{1,2}|\d{4,})\D*"
_THOUSANDS_POINTS = r"[+-]?[1-9]\d{0,2}(\.\d{3})+(?=[^.\d]|$)"


def has_decimal_commas(cells: pd.Series) -> bool:
    """Return whether any of these numbers is written with a decimal comma."""
    return bool(cells.str.fullmatch(_DECIMAL_COMMA).any())


def _with_thousands_points(cells: pd.Series) -> str:
    """Return the first cell whose points can only part its thousands where numbers have decimal commas; ""
    without one, or where some point of the column is a decimal one."""
    if cells.str.fullmatch(_DECIMAL_POINT).any():
        return ""
    return next(iter(cells[cells.str.match(_THOUSANDS_POINTS)]), "")


def _read_distances(
    cells: pd.Series, column: Column, distance_unit: str, *, commas: bool = False
) -> tuple[pd.Series, pd.Series, pd.Series, pd.Series]:
    """Return km, what was entered, its unit and what is wrong; a cell may carry its own unit.

    commas: other numbers of the table have decimal commas, so that 41.200 is 41200; beside 41.2 refused.
    """
    if commas and _with_thousands_points(cells):
        thousands = cells.str.match(_THOUSANDS_POINTS)
        cells = cells.mask(thousands, cells.str.replace(".", "", regex=False))
    problem = pd.Series("", index=cells.index, dtype="object")
    given = (cells != "").to_numpy()
    entered = pd.Series(np.nan, index=cells.index, dtype="float64")
    unit = pd.Series(None, index=cells.index, dtype="object")
    if not given.any():
        return entered, entered, unit, problem
    entered = _fast_numbers(cells, given)
    if commas:
        entered = entered.mask(cells.str.fullmatch(r"[1-9]\d{0,2}\.\d{3}"))
    unit[entered.notna()] = distance_unit
    km = entered * UNITS[distance_unit].factor
    for place in cells.index[given & entered.isna().to_numpy()]:
        try:
            read = read_quantity(cells[place], "distance", default_unit=distance_unit, field=column.name)
        except EntryRefused as refused:
            problem[place] = _without_field(refused)
            continue
        entered[place], unit[place], km[place] = read.entered, read.unit, read.value
    return km, entered, unit, _outside(cells, km, column, problem)


def _probe_problems(cells: pd.Series, problem: pd.Series) -> pd.Series:
    """Say of clamp factors that are none what `log` would say."""
    for cell in filter(None, cells.unique()):
        try:
            parse_probe(cell)
        except EntryRefused as refused:
            problem = problem.mask((cells == cell) & (problem == ""), _without_field(refused))
    return problem


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


def _slow_number(cell: str, column: Column) -> float:
    """A number with a decimal comma or a unit of its own."""
    if not column.unit:
        return parse_number(cell, field=column.name)
    return read_quantity(cell, UNITS[column.unit].kind, default_unit=column.unit, field=column.name).value


def _read_choice(cells: pd.Series, column: Column, problem: pd.Series) -> tuple[pd.Series, pd.Series]:
    spelled = {re.sub(r"[\s_-]", "", choice): choice for choice in column.choices}
    place, distinct = pd.factorize(cells)
    if {"yes", "no"} <= set(column.choices):
        spelled |= _YES_OR_NO
    meant = [spelled.get(re.sub(r"[\s_-]", "", cell.lower())) for cell in distinct]
    value = pd.Series(np.array(meant, dtype=object)[place], index=cells.index, dtype="object")
    wrong = (cells != "") & value.isna()
    problem[wrong] = "'" + cells[wrong] + f"' is not one of {', '.join(column.choices)}"
    return value, problem
