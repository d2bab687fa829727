"""columns.toml: which file of a folder holds which table, and which of its columns are meant.

    [[table]]
    file = "Service log.csv"          # in the folder; also: sheet = "2024", header_row = 3
    holds = "visits.csv"
    [table.columns]
    unit = "Vehicle"
    odometer = { header = "Meter", unit = "km" }
    reason = { header = "Kind", values = { "Routine" = "pm" } }
    technician = { header = "Name", from_above = true }   # a blank cell: as in the row above
    state = { everywhere = "idle" }   # no header says so: it holds for every row

    [[table]]
    file = "Job cards.csv"            # of which only some rows are meant
    holds = "pumps.csv"
    only = { header = "Job", any = ["pump replaced", "new pump"], none = ["water"] }

One file may hold several tables. What contradicts itself, the folder or the tables is refused in a sentence.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import pandas as pd

from ingest.errors import EntryRefused
from ingest.fleet_folder.job_texts import Only, spoken
from ingest.fleet_folder.report import RowProblem
from ingest.fleet_folder.sheets import Sheet
from ingest.fleet_folder.tables import TABLES, Column, Table
from ingest.units import UNITS, find_unit, unit_names

FILE = "columns.toml"
_BARE = re.compile(r"\s*[+-]?\d[\d.,' ]*\s*")
_BY_FILE = {table.file: table for table in TABLES}


@dataclass(frozen=True)
class Source:
    """Where a column's cells come from. unit: of bare numbers; values: what cells stand for; from_above:
    whether a blank cell means what the last filled one above it says. everywhere: what every row has, of a
    column that no header holds ("")."""

    header: str
    unit: str = ""
    values: dict[str, str] = field(default_factory=dict)
    from_above: bool = False
    everywhere: str = ""


@dataclass(frozen=True)
class Mapped:
    """A table that stands in a file of another shape: `columns` by the table's own names; only: its rows."""

    table: Table
    file: str
    columns: dict[str, Source]
    sheet: str | None = None
    header_row: int = 1
    only: Only | None = None


def read_mapping(folder: Path) -> dict[str, Mapped]:
    """Return the tables that columns.toml names, by their file's name in a fleet folder; none without it.

    Raises EntryRefused, naming what contradicts what.
    """
    path = folder / FILE
    if not path.exists():
        return {}
    try:
        content = tomllib.loads(path.read_bytes().decode("utf-8-sig"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError) as error:
        raise EntryRefused("bad-toml", f"{FILE} can't be read: {error}.") from error
    entries = content.get("table", [])
    if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
        raise _refused("each table begins with [[table]]")
    mapped: dict[str, Mapped] = {}
    for entry in entries:
        one = mapped_from(entry)
        if one.table.file in mapped:
            raise _refused(
                f"both '{mapped[one.table.file].file}' and '{one.file}' hold {one.table.file}; keep one"
            )
        mapped[one.table.file] = one
    demand_in_folder(mapped.values(), folder)
    return mapped


def distance_unit_told(mapping: Iterable[Mapped]) -> str:
    """Return the unit that all distances of a mapping are in by their headers, "" where they don't agree."""
    distances = [
        source.unit
        for mapped in mapping
        for name, source in mapped.columns.items()
        if mapped.table.by_name[name].kind == "distance"
    ]
    return distances[0] if distances and len(set(distances)) == 1 else ""


def demand_in_folder(mapped: Iterable[Mapped], folder: Path) -> None:
    """Raise EntryRefused where a folder lacks a file, or has the table by its own name as well."""
    present = {path.name for path in folder.iterdir() if path.is_file()}
    lower = {name.lower() for name in present}
    for one in mapped:
        if one.file not in present:
            raise _refused(f"there is no file '{one.file}' in the folder")
        if one.table.file in lower and one.file.lower() != one.table.file:
            raise _refused(
                f"the folder has {one.table.file} and '{one.file}' is said to hold it too; keep one"
            )


def mapped_from(entry: dict[str, Any]) -> Mapped:
    """Return one [[table]] of columns.toml as it was read; EntryRefused where it contradicts itself."""
    file, holds = entry.get("file"), entry.get("holds")
    if not isinstance(file, str) or not isinstance(holds, str):
        raise _refused("each [[table]] needs file and holds")
    table = _BY_FILE.get(holds if holds.endswith(".csv") else f"{holds}.csv")
    if table is None:
        raise _refused(f"'{holds}' is no table; it is one of {', '.join(_BY_FILE)}")
    if Path(file).name != file:
        raise _refused(f"'{file}' must be a file of the folder itself")
    columns = entry.get("columns", {})
    header_row, sheet = entry.get("header_row", 1), entry.get("sheet")
    if not isinstance(columns, dict) or not columns:
        raise _refused(f"'{file}' has no [table.columns]")
    if not isinstance(header_row, int) or not 1 <= header_row <= 1000:
        raise _refused(f"header_row of '{file}' must be a row such as 3")
    sources = {name: _source(table, name, said) for name, said in columns.items()}
    only = _only(file, entry.get("only"))
    return Mapped(table, file, sources, sheet if isinstance(sheet, str) else None, header_row, only)


def _only(file: str, said: Any) -> Only | None:
    if said is None:
        return None
    lists = [said.get("any"), said.get("none", [])] if isinstance(said, dict) else []
    worded = all(
        isinstance(x, list) and all(isinstance(word, str) and word.strip() for word in x) for x in lists
    )
    if not lists or not lists[0] or not worded or not isinstance(said.get("header"), str):
        raise _refused(f'only of \'{file}\' is written like {{ header = "Job", any = ["pump replaced"] }}')
    return Only(said["header"], tuple(said["any"]), tuple(said.get("none", [])))


def _source(table: Table, name: str, said: Any) -> Source:
    column = table.by_name.get(name)
    if column is None:
        raise _refused(f"{table.file} has no column '{name}'")
    said = {"header": said} if isinstance(said, str) else said
    if isinstance(said, dict) and "everywhere" in said:
        return _everywhere(table, column, said)
    if not isinstance(said, dict) or not isinstance(said.get("header"), str):
        raise _refused(f"{table.file}, {name}: say which header it is")
    unit, values = str(said.get("unit", "")), said.get("values", {})
    if unit:
        known, kind = find_unit(unit), kind_of(column)
        if known is None or known.kind != kind:
            usable = f"one of {', '.join(unit_names(kind))}" if kind else "left out: it has none"  # type: ignore[arg-type]
            raise _refused(f"{table.file}, {name}: the unit '{unit}' must be {usable}")
        unit = known.name
    if not isinstance(values, dict):
        raise _refused(f'{table.file}, {name}: values are written like {{ "Routine" = "pm" }}')
    for cell, value in values.items():
        if column.choices and value not in (*column.choices, ""):
            raise _refused(
                f"{table.file}, {name}: '{cell}' can't mean '{value}'; it is one of"
                f" {', '.join(column.choices)}"
            )
    from_above = said.get("from_above", False)
    if not isinstance(from_above, bool):
        raise _refused(f"{table.file}, {name}: from_above is true or false")
    return Source(said["header"], unit, {str(k): str(v) for k, v in values.items()}, from_above)


def _everywhere(table: Table, column: Column, said: dict[str, Any]) -> Source:
    value = said["everywhere"]
    if len(said) > 1 or not isinstance(value, str) or not value.strip():
        raise _refused(f'{table.file}, {column.name}: everywhere stands alone, such as everywhere = "idle"')
    if column.choices and value not in column.choices:
        choices = ", ".join(column.choices)
        raise _refused(f"{table.file}, {column.name}: '{value}' is none of {choices}")
    return Source("", everywhere=value)


def kind_of(column: Column) -> str:
    """Return the kind of quantity that a column holds, "" where it is none."""
    return "distance" if column.kind == "distance" else UNITS[column.unit].kind if column.unit else ""


def applied(mapped: Mapped, read: Sheet, distance_unit: str) -> Sheet:
    """Return a file's cells under the table's own names, in its units and words; the other columns left out.

    A row with a cell in another unit than columns.toml gives its header is a problem, and not among them.
    Raises EntryRefused where the file lacks a header.
    """
    if mapped.only is not None:
        _demand_header(mapped.only.header, "only", read)
        meant = read.cells[spoken(read.cells[mapped.only.header], mapped.only)].reset_index(drop=True)
        read = replace(read, cells=meant, total=len(meant) + len(read.problems))
    cells = pd.DataFrame({"file_row": read.cells["file_row"]})
    problems = list(read.problems)
    for name, source in mapped.columns.items():
        if source.everywhere:
            cells[name] = source.everywhere
            continue
        _demand_header(source.header, name, read)
        column = mapped.table.by_name[name]
        texts = read.cells[source.header]
        if source.from_above:
            texts = texts.where(texts.fillna("").str.strip() != "").ffill().fillna("")
        cells[name] = _in_own_words(texts, source, column, distance_unit)
        for place, unit in _other_units(texts, source).items():
            said = (
                f"'{texts[place].strip()}' is in {unit}, but {FILE} has '{source.header}' in {source.unit};"
                " put one right"
            )
            row = int(cells["file_row"][place])
            problems.append(RowProblem(mapped.table.file, row, name, "units-contradict", said))
    wrong = cells["file_row"].isin([problem.row for problem in problems])
    own = cells[~wrong].reset_index(drop=True)
    return replace(read, header=list(mapped.columns), cells=own, problems=problems)


def _demand_header(header: str, name: str, read: Sheet) -> None:
    if header not in read.header:
        listed = ", ".join(f"'{header}'" for header in read.header)
        raise EntryRefused("column-missing", f"{FILE} names '{header}' for {name}; the header has {listed}.")


def _in_own_words(texts: pd.Series, source: Source, column: Column, distance_unit: str) -> pd.Series:
    if source.values:
        by_cell = {cell.strip().casefold(): value for cell, value in source.values.items()}
        meant = texts.fillna("").str.strip().str.casefold().map(by_cell)
        texts = meant.where(meant.notna(), texts)
    usual = distance_unit if column.kind == "distance" else column.unit
    if not source.unit:
        return texts
    filled = texts.fillna("").str.strip()
    bare = filled.str.fullmatch(_BARE.pattern)
    return texts.where(~bare, filled + f" {source.unit}") if source.unit != usual else texts


def _other_units(texts: pd.Series, source: Source) -> dict[int, str]:
    """Return the places of cells that name another unit than the header's, and which."""
    if not source.unit:
        return {}
    filled = texts.fillna("").str.strip()
    worded = filled[(filled != "") & ~filled.str.fullmatch(_BARE.pattern)]
    named = {cell: find_unit(re.sub(r"^[+-]?[\d.,' ]+", "", cell).strip()) for cell in worded.unique()}
    return {
        place: unit.name
        for place, cell in zip(worded.index.tolist(), worded.tolist(), strict=True)
        if (unit := named[cell]) is not None and unit.name != source.unit
    }


def as_toml(mapped: Iterable[Mapped]) -> str:
    """Return the content of columns.toml."""
    out = ["# Which file of this folder holds which table, and which of its columns are meant.\n"]
    for one in mapped:
        out.append(f"\n[[table]]\nfile = {_quoted(one.file)}\n")
        out += [f"sheet = {_quoted(one.sheet)}\n"] if one.sheet else []
        out += [f"header_row = {one.header_row}\n"] if one.header_row > 1 else []
        out.append(f"holds = {_quoted(one.table.file)}\n")
        out += [f"only = {_only_said(one.only)}\n"] if one.only else []
        out.append("[table.columns]\n")
        out += [f"{name} = {_said(source)}\n" for name, source in one.columns.items()]
    return "".join(out)


def save_mapping(mapped: Iterable[Mapped], folder: Path, *, replace: bool = False) -> Path:
    """Write columns.toml; EntryRefused where it is there already (unless it is to be replaced) or can't be
    written."""
    path = folder / FILE
    text = as_toml(mapped)
    try:
        if replace:
            part = path.with_name(f".{FILE}-part")
            part.write_text(text, encoding="utf-8")
            part.replace(path)
            return path
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        raise EntryRefused("there-already", f"{path} is there already; change it, or take it away.") from None
    except OSError as error:
        raise EntryRefused("not-written", f"{path} can't be written: {error.strerror or error}.") from error
    return path


def _said(source: Source) -> str:
    if source.everywhere:
        return f"{{ everywhere = {_quoted(source.everywhere)} }}"
    if not source.unit and not source.values and not source.from_above:
        return _quoted(source.header)
    parts = [f"header = {_quoted(source.header)}"]
    parts += [f"unit = {_quoted(source.unit)}"] if source.unit else []
    parts += ["from_above = true"] if source.from_above else []
    if source.values:
        pairs = ", ".join(f"{_quoted(cell)} = {_quoted(value)}" for cell, value in source.values.items())
        parts.append(f"values = {{ {pairs} }}")
    return f"{{ {', '.join(parts)} }}"


def _only_said(only: Only) -> str:
    def words(listed: tuple[str, ...]) -> str:
        return f"[{', '.join(map(_quoted, listed))}]"

    none = f", none = {words(only.none)}" if only.none else ""
    return f"{{ header = {_quoted(only.header)}, any = {words(only.any)}{none} }}"


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def _refused(text: str) -> EntryRefused:
    return EntryRefused("bad-mapping", f"{FILE}: {text}.")
