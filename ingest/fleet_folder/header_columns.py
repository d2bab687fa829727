"""Which header of a file is which column of a table: by its words, and by what its cells hold."""

from __future__ import annotations

import re
from functools import lru_cache

import pandas as pd

from ingest.fleet_folder.cells import has_decimal_commas, read_column
from ingest.fleet_folder.column_words import CELLS, HEADERS, folded
from ingest.fleet_folder.mapping import Source, kind_of
from ingest.fleet_folder.sheets import Sheet
from ingest.fleet_folder.tables import VISITS, Column, Table, column_meant
from ingest.typed import blank_spellings
from ingest.units import find_unit

LOOKED_AT = 500  # cells of a column
GROUPED = 0.4  # least share of blank cells under the heads of groups
READABLE = 0.6  # least share of them that are of the column's kind
LABOUR_H = 50.0  # [P] hours of half a list below it are those that jobs took, and no engine's
_OF_A_JOB = {"fitted_on": "visited_on", "fitted_odometer": "odometer"}
_OF_THE_ONE_BEFORE = {
    "old", "removed", "previous", "alt", "alte", "altes", "altteil", "vieja", "viejo", "anterior", "ancien",
    "ancienne",
}  # fmt: skip
_OF_THE_NEW_ONE = ("pump_type", "serial", "lot")  # columns that say what was fitted
_WORDED = ("fuel", "make", "technician", "note")  # columns that hold no figures
_FIGURE = re.compile(r"[\d.,\s]+([A-Za-z]{1,3}|°[CF])?")
_DATE = re.compile(
    r"\d{1,4}[./-]\d{1,2}[./-]\d{1,4}.*|.*\d\s*[- ]?[A-Za-z]{3,9}[- ,]+\s*\d.*|[A-Za-z]{3,9} \d+,.*"
)
_ODOMETER = re.compile(r"\d[\d,.' ]{3,}\s*(km|mi|miles)")
_VIN = re.compile(r"[A-HJ-NPR-Z0-9]{17}")


def names_a_column(header: str) -> bool:
    """Return whether a header has the words of any column."""
    return any(_said(header, phrase) >= 2 for phrases in HEADERS.values() for phrase in phrases)


def told_by_header(read: Sheet) -> dict[str, pd.Series]:
    """Return the filled cells of each header."""
    return {header: filled(read.cells[header]) for header in read.header if header}


def columns_of(
    table: Table, read: Sheet, told: dict[str, pd.Series], distance_unit: str, *, as_jobs: bool = False
) -> tuple[dict[str, Source], list[str], float]:
    """Return which header is which column of a table, doubts, and how well it goes in all; told: from
    `told_by_header`.

    as_jobs: of pumps, whose day and odometer are those of the job that fitted them.
    """
    pairs: list[tuple[float, str, str]] = []
    doubts: list[str] = []
    commas = any(has_decimal_commas(read.cells[header].head(LOOKED_AT)) for header in read.header if header)
    for header in read.header:
        if not header:
            continue
        cells = told[header]
        for column in table.columns:
            if as_jobs and column.name == "cost":
                continue  # what changing the pump before it cost
            score = _header_score(table, column, header)
            if as_jobs and column.name in _OF_A_JOB:
                of_visit = VISITS.by_name[_OF_A_JOB[column.name]]
                score = max(score, _header_score(VISITS, of_visit, header))
            if column.name == "vin" and _are_vins(cells):
                score = 4.0
            if column.name == "odometer" and _are_odometers(cells):
                score = max(score, 2.0)
            if score > 0 and len(cells):
                if column.name == "hours" and _are_labour(header, cells):
                    continue
                if not _fits(cells, column, distance_unit, commas=commas):
                    if score >= 2:
                        doubts.append(_denied(header, column, cells))
                    continue
                pairs.append((score, header, column.name))
    pairs.sort(key=lambda pair: -pair[0])
    columns: dict[str, Source] = {}
    used: set[str] = set()
    refused: set[str] = set()
    total = 0.0
    for score, header, name in pairs:
        if header in used or name in columns or name in refused:
            continue
        rivals = [h for s, h, n in pairs if n == name and s == score and h != header and h not in used]
        if rivals:
            both = " and ".join(f"'{h}'" for h in (header, *rivals))
            doubts.append(f"{both} may both be {name}; say in columns.toml which is")
            refused.add(name)
            continue
        used.add(header)
        column = table.by_name[name]
        cells = told[header]
        from_above = name == "unit" and _stands_once_a_group(read.cells[header])
        columns[name] = Source(header, _unit_in(header, column), _values(cells, column), from_above)
        unread = unmeant(cells, column, columns[name].values)
        if unread:
            doubts.append(f"'{header}': {', '.join(repr(c) for c in unread[:5])} can't be told as {name}")
        total += score
    order = {column.name: place for place, column in enumerate(table.columns)}
    mine = [d for d in doubts if not any(f"'{h}' reads" in d for h in used)]
    return dict(sorted(columns.items(), key=lambda c: order[c[0]])), mine, total


def _denied(header: str, column: Column, cells: pd.Series) -> str:
    """Say that a header is known and its cells are not, with cells that show it."""
    said = f"'{header}' reads like {column.name}, but"
    if column.kind != "choice":
        return f"{said} its cells don't ('{cells.iloc[0]}')"
    strange = ", ".join(f"'{cell}'" for cell in unmeant(cells, column, _values(cells, column))[:5])
    return f"{said} it can't be told which of {', '.join(column.choices)} {strange} mean"


def _header_score(table: Table, column: Column, header: str) -> float:
    if column_meant(header, table) == column.name:
        return 4.0
    if column.name in _OF_THE_NEW_ONE and _OF_THE_ONE_BEFORE.intersection(_words_of(header)[0]):
        return 0.0
    if "%" in header and not column.name.endswith("_pct"):
        return 0.0
    phrases = HEADERS.get(f"{table.file}.{column.name}") or HEADERS.get(column.name) or ()
    plain = column.name.replace("_", " ")
    said = max((_said(header, phrase) for phrase in (*phrases, plain)), default=0.0)
    return said + 0.5 if said and column.unit and _unit_in(header, column) else said  # Fuel PSI: no fuel


def _said(header: str, phrase: str) -> float:
    """Return 3 for the phrase itself, up to 2.5 for all its words and few others, else 0."""
    (words, told), (wanted, whole) = _words_of(header), _words_of(phrase)
    if told == whole:
        return 3.0
    if wanted and all(word in words for word in wanted):
        return max(1.0, 2.5 - 0.5 * (len(words) - len(wanted))) + 0.1 * len(wanted)
    return 0.0


@lru_cache(maxsize=10_000)  # each header of a folder is held against each phrase, for each table
def _words_of(text: str) -> tuple[tuple[str, ...], str]:
    """Return the words of a header or phrase, a unit in brackets left out, and what they are in one."""
    without_unit = re.sub(r"[(\[].*?[)\]]", " ", text).replace("#", " no ").replace("@", " at ")
    parted = re.sub(r"([a-z])([A-Z])", r"\1 \2", without_unit)
    words = tuple(_whole(word) for word in re.findall(r"[a-z]+", folded(parted)))
    return words, "".join(words)


def _whole(word: str) -> str:
    return {
        "num": "no",
        "yr": "year",
        "odo": "odometer",
        "nr": "no",
        "numero": "no",
        "number": "no",
        "identifier": "id",
        "voltage": "volts",
        "batt": "battery",
        "eq": "equipment",
        "equip": "equipment",
        "hrs": "hours",
        "insp": "inspection",
        "svc": "service",
    }.get(word, word)


def filled(cells: pd.Series) -> pd.Series:
    """Return the first cells that hold something, at most LOOKED_AT."""
    texts = cells.fillna("").str.strip()
    return texts[(texts != "") & ~texts.isin(blank_spellings(text=False))].head(LOOKED_AT)


def _fits(cells: pd.Series, column: Column, distance_unit: str, *, commas: bool) -> bool:
    if column.kind == "date":
        return bool(cells.str.fullmatch(_DATE.pattern).mean() >= READABLE)
    if column.kind == "choice":
        values = _values(cells, column)
        return len(unmeant(cells, column, values)) <= (1 - READABLE) * cells.nunique()
    if column.name in _WORDED and cells.str.fullmatch(_FIGURE.pattern).mean() > READABLE:
        return False
    if column.name == "ref" and cells.duplicated().any():
        return False
    _, problem = read_column(cells.reset_index(drop=True), column, distance_unit, commas=commas)
    if column.name == "unit" and cells.str.fullmatch(_DATE.pattern).mean() > READABLE:
        return False
    return bool((problem == "").mean() >= READABLE)


def _are_labour(header: str, cells: pd.Series) -> bool:
    """Return whether hours are those that a job took, which no header of engine hours says."""
    if set(_words_of(header)[0]) & {"engine", "meter", "motor", "moteur", "betriebs", "horometro"}:
        return False
    numbers = pd.to_numeric(cells.str.replace(",", "."), errors="coerce").dropna()
    return len(numbers) > 0 and float(numbers.median()) < LABOUR_H


def _are_vins(cells: pd.Series) -> bool:
    return len(cells) > 0 and bool(cells.str.upper().str.fullmatch(_VIN.pattern).mean() > READABLE)


def _stands_once_a_group(cells: pd.Series) -> bool:
    """Return whether a column is filled in the first row of each group of rows alone."""
    blank = (cells.fillna("").str.strip() == "").to_numpy()
    return len(blank) > 2 and not blank[0] and bool(blank.mean() >= GROUPED)


def _are_odometers(cells: pd.Series) -> bool:
    """Return whether cells name a unit of distance and are as long as an odometer's figures."""
    return len(cells) > 0 and bool(cells.str.lower().str.fullmatch(_ODOMETER.pattern).mean() > READABLE)


def _values(cells: pd.Series, column: Column) -> dict[str, str]:
    """Return what cells that are none of a column's own words mean."""
    if column.kind != "choice":
        return {}
    meant = {}
    for cell in cells.unique():
        if _is_choice(cell, column):
            continue
        said = set(re.findall(r"[a-z]+", folded(cell)))
        for value, words in CELLS.get(column.name, {}).items():
            if any(set(word.split()) <= said for word in words):
                meant[str(cell)] = value
                break
    return meant


def unmeant(cells: pd.Series, column: Column, values: dict[str, str]) -> list[str]:
    """Return the cells of a column of words that are none of them, by `values` (cell -> word) neither."""
    if column.kind != "choice":
        return []
    return [str(c) for c in cells.unique() if c not in values and not _is_choice(c, column)]


def _is_choice(cell: str, column: Column) -> bool:
    _, problem = read_column(pd.Series([cell]), column, "km")
    return bool(problem.iloc[0] == "")


def _unit_in(header: str, column: Column) -> str:
    """Return the unit that a header names, where it is one of the column's kind."""
    kind = kind_of(column)
    for word in re.findall(r"[^\s()\[\],_-]+", header) if kind else ():
        unit = find_unit("km" if folded(word).startswith("kilom") else word)
        if unit is not None and unit.kind == kind and unit.name != column.unit:
            return unit.name
    return ""
