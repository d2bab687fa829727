"""What the lines before the numbers, and the cells beside them, say: names, units, time base, scale."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from itertools import pairwise

from ingest.errors import EntryRefused
from ingest.readers.cells import resolution_of
from ingest.readers.clock import parse_date
from ingest.readers.layout import Layout, split_line
from ingest.readers.options import parse_probe, parse_rate
from ingest.readers.signal_units import UNITS, SignalUnit, find_signal_unit, split_name_unit
from ingest.readers.table import Header
from ingest.readers.vocabulary import CHANNEL, FREQUENCY_WORDS, INDEX_WORDS, TIME_WORDS, fold, key_of

_COMMENT = re.compile(r'^[\s,;"]*(?:#|%|;|//|!|\*)+\s*')
_VALUE = re.compile(r"^\s*([+-]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d+)?)\s*(.*)$")

_NUMBER_IN_WORDS = re.compile(r"(?<![\w.,])(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d+)?(?![\d.,])")
_NO_MATTER = {"is", "was", "of", "at", "the", "a", "an", "every", "each", "per", "one", "with", "time", "s"}
_SAMPLED = {"sample", "samples", "sampled", "sampling", "digitised", "digitized"}


@dataclass(frozen=True)
class Entry:
    """One key of the header with its values; `unit` is a unit printed with the key."""

    key: str
    values: tuple[str, ...]
    unit: SignalUnit | None
    aligned: bool = False  # one value for each number column


@dataclass(frozen=True)
class Preamble:
    """Names and units of each number column, in the layout's order, and the header's facts."""

    names: tuple[str, ...]
    units: tuple[SignalUnit | None, ...]
    unit_texts: tuple[str, ...]
    second_names: tuple[str, ...]
    header: Header


def read_preamble(layout: Layout) -> Preamble:
    """Read every line before the first row of numbers; nothing here ever raises for odd content."""
    lines = [line for line in layout.head[-2000:] if line.strip(' \t,;"')]
    entries: list[Entry] = []
    rows: list[list[str]] = []
    for line in lines:
        match = _COMMENT.match(line)
        plain = line[match.end() :] if match else line
        cells = split_line(plain, layout.delimiter)
        if layout.delimiter == " " and len(cells) > len(layout.columns):
            cells = _blank_parted(plain, len(layout.columns))
        rows.append(cells)
        entries += _entries_of(plain, cells, layout)
    entries += _side_entries(layout)
    names, units, unit_texts, second_names = _names(rows, layout)
    entries += _start_increment(rows, layout)
    names, units, unit_texts = _aligned_entries(entries, names, units, unit_texts)
    header = _header(entries)
    first = fold(names[0]) if names else ""
    if first in FREQUENCY_WORDS or (units and units[0] and units[0].kind == "frequency"):
        header = replace(header, spectrum=True)
    return Preamble(tuple(names), tuple(units), tuple(unit_texts), tuple(second_names), header)


def with_units(preamble: Preamble, columns: tuple[int, ...], of_column: dict[int, SignalUnit]) -> Preamble:
    """Return the preamble with the units that the cells of some columns of the file print themselves."""
    own = [of_column.get(column) for column in columns]
    units = tuple(unit or told for unit, told in zip(own, preamble.units, strict=True))
    texts = tuple(unit.symbol if unit else told for unit, told in zip(own, preamble.unit_texts, strict=True))
    return replace(preamble, units=units, unit_texts=texts)


def _entries_of(line: str, cells: list[str], layout: Layout) -> list[Entry]:
    filled = [cell for cell in cells if cell]
    if len(filled) >= 2 and cells[0]:
        values, key = cells[1:], cells[0].strip(" :=")
    else:
        # a line of one cell: the key ends at the first of these signs
        match = re.match(
            r"^\s*\"?([^=:;,\t]{1,60}?)\"?\s*[=:;,\t]\s*(.+?)\s*$", filled[0] if filled else line
        )
        if not match:
            return _in_words(filled[0] if filled else line)
        key, values = match[1], [match[2].strip(' "')]
        if "=" in values[0] or len(values[0]) > 200:
            return []
    if layout.delimiter == " " and (match := re.match(r"^\s*([^=:]{1,60}?)\s*[=:]\s*(.+?)\s*$", line)):
        key, values = match[1], [match[2].strip(' "')]
    elif not key_of(key) and (
        said := [e for cell in _phrases(line, filled, layout) for e in _in_words(cell)]
    ):
        return said
    inner = re.match(r"^(.*?)\s*[=:]\s*(\S.*)$", key)
    if inner and not key_of(key) and key_of(inner[1]):
        key, values = inner[1], [inner[2], *values]
    aligned = len(cells) > layout.columns[-1] and layout.columns[0] >= 1
    if aligned:
        values = [cells[index] for index in layout.columns]
    bracket = re.search(r"[\(\[]([^\)\]]+)[\)\]]", key)
    unit = find_signal_unit(bracket[1]) if bracket else None
    return [Entry(key, tuple(v.strip() for v in values), unit, aligned)]


def _phrases(line: str, filled: list[str], layout: Layout) -> list[str]:
    return [line.strip()] if layout.delimiter == " " else filled


def _in_words(text: str) -> list[Entry]:
    """What a line without a sign between key and value says: "sample interval 50 us", "sampled at 20 kHz"."""
    for match in _NUMBER_IN_WORDS.finditer(text) if len(text) <= 80 else ():
        before, number, after = text[: match.start()], match[0], text[match.end() :].split()
        for words in range(min(3, len(after)), -1, -1):  # the longest unit first: "samples per second"
            unit, rest = " ".join(after[:words]), " ".join(after[words:])
            if key := _key_in_words(f"{before} {rest}", unit):
                return [Entry(key, (f"{number} {unit}".strip(),), None)]
    return []


def _key_in_words(words: str, unit: str) -> str | None:
    """Return "interval" or "rate" where words name it and a unit goes with it, or none is printed."""
    said = " ".join(word for word in re.findall(r"[^\W\d_]+", words) if word.lower() not in _NO_MATTER)
    key, sampled = key_of(said), fold(said) in _SAMPLED
    told = find_signal_unit(unit)
    if told and told.kind == "time":
        return "interval" if key == "interval" or sampled else None
    if not unit:
        return key if key in ("interval", "rate") else None
    try:
        parse_rate(f"1 {unit}")
    except EntryRefused:
        return None
    of_samples = "s" in unit.lower() and "hz" not in unit.lower()  # kS/s, samples per second
    return "rate" if key == "rate" or sampled or (of_samples and not said) else None


def _blank_parted(line: str, width: int) -> list[str]:
    """Header cells over aligned columns: two blanks part them; a bracket belongs to the word before it."""
    wide = [cell.strip() for cell in re.split(r"\s{2,}|\t", line.strip())]
    if len(wide) == width:
        return wide
    return re.sub(r"\s+([\(\[])", r"\1", line).split()


def _side_entries(layout: Layout) -> list[Entry]:
    found = []
    for row in layout.side:
        filled = [cell for cell in row if cell]
        if len(filled) >= 2:
            # a stray sign typed before the first key must not hide it
            key = filled[0] if key_of(filled[0]) else re.sub(r"^\W*\d+\W*", "", filled[0])
            found.append(Entry(key, tuple(filled[1:]), None))
    return found


def _is_units(cells: list[str]) -> bool:
    filled = [cell for cell in cells if cell.strip(" -()[]")]
    spelled = [find_signal_unit(cell) for cell in filled if not _VALUE.match(cell)]
    return bool(spelled) and all(spelled)


def _names(
    rows: list[list[str]], layout: Layout
) -> tuple[list[str], list[SignalUnit | None], list[str], list[str]]:
    """Names, units and units as printed, and names in a second row of the header."""
    width = len(layout.columns)
    names, texts = [""] * width, [""] * width
    units: list[SignalUnit | None] = [None] * width
    units_row = name_row = None
    for index in range(len(rows) - 1, max(-1, len(rows) - 6), -1):
        cells = rows[index]
        if layout.columns[0] >= 1 and cells and key_of(cells[0]):
            continue  # "VUnit,V,A" speaks of the columns itself: see _aligned_entries
        if units_row is None and _is_units(cells) and _covers(cells, layout) >= 0.5:
            units_row = index
        elif _could_name(cells, layout, only=len(rows) == 1):
            name_row = index
            break
    if name_row is None and units_row is not None and len(rows[units_row]) >= width:
        name_row, units_row = units_row, None
    if name_row is not None:
        cells = _line_up(rows[name_row], layout)
        letters = {cell.upper() for cell in cells if len(cell) == 1}
        for place, cell in enumerate(cells):
            if cell == "A" and {"A", "B"} <= letters:  # channel letters, not ampere
                names[place] = cell
            else:
                names[place], units[place], texts[place] = split_name_unit(cell)
    if units_row is not None:
        for place, cell in enumerate(_line_up(rows[units_row], layout)):
            if unit := find_signal_unit(cell):
                units[place], texts[place] = unit, cell.strip("()[] ")
            elif cell.strip(" -()[]"):
                texts[place] = cell.strip("()[] ")
    return names, units, texts, _second_names(rows, layout, name_row, units_row)


def _second_names(
    rows: list[list[str]], layout: Layout, name_row: int | None, units_row: int | None
) -> list[str]:
    """Names in the row nearest to that of the names, below or just above, that names all columns but one."""
    nothing = [""] * len(layout.columns)
    if name_row is None:
        return nothing
    below = range(name_row + 1, len(rows))
    for index in (*below, *range(name_row - 1, max(name_row - 3, -1), -1)):
        cells = rows[index]
        if index == units_row or len(cells) != len(rows[name_row]) or (cells[0] and key_of(cells[0])):
            continue
        lined = _line_up(cells, layout)
        filled = [cell for cell in lined if cell]
        if len(filled) >= max(len(lined) - 1, 1) and not any(map(_VALUE.match, filled)):
            return lined
    return nothing


def _line_up(cells: list[str], layout: Layout) -> list[str]:
    """Cells over the number columns; a shorter header line lists the number columns only."""
    if len(cells) > layout.columns[-1]:
        return [cells[index] for index in layout.columns]
    filled = [cell for cell in cells if cell]
    return (filled + [""] * len(layout.columns))[: len(layout.columns)]


def _covers(cells: list[str], layout: Layout) -> float:
    filled = [cell for cell in _line_up(cells, layout) if cell.strip(" -")]
    return len(filled) / len(layout.columns)


def _could_name(cells: list[str], layout: Layout, *, only: bool) -> bool:
    lined = _line_up(cells, layout)
    filled = [cell for cell in lined if cell]
    if not filled or not _names_beside_numbers(filled) or (len(filled) == 1 and _in_words(filled[0])):
        return False
    if "=" in "".join(filled) and len(filled) < len(layout.columns):
        return False
    if len(filled) < max(1, 0.5 * len(layout.columns)) or max(map(len, filled)) > 80:
        return False
    head = fold(split_name_unit(cells[0])[0]) if cells else ""
    time_like = head in TIME_WORDS or head in INDEX_WORDS
    if len(cells) >= 2 and cells[0] and key_of(cells[0]) and not time_like and layout.columns[0] == 0:
        return key_of(cells[0]) == "names" and CHANNEL.fullmatch(fold(cells[1])) is not None
    if only:
        return True
    return any(_names_something(cell) for cell in filled)


def _names_beside_numbers(cells: list[str]) -> bool:
    """No number is a name, but for channel numbers after the name of the time column: "x-axis,1,2,MATH1"."""
    numbers = [cell for cell in cells if _is_number(cell)]
    numbered = fold(cells[0]) in TIME_WORDS and len(set(numbers)) == len(numbers)
    return not numbers or (numbered and all(re.fullmatch(r"[1-9]\d?", cell) for cell in numbers))


def _is_number(cell: str) -> bool:
    match = _VALUE.match(cell)
    return bool(match and not match[2])


def _names_something(cell: str) -> bool:
    name, unit, _ = split_name_unit(cell)
    folded = fold(name)
    return (
        unit is not None or folded in TIME_WORDS or folded in INDEX_WORDS or bool(CHANNEL.fullmatch(folded))
    )


def _start_increment(rows: list[list[str]], layout: Layout) -> list[Entry]:
    """Start and increment printed under their names, beside the columns, on the line of the units."""
    return [
        Entry(name, (value,), None)
        for names, values in pairwise(rows[-6:])
        for index, (name, value) in enumerate(zip(names, values, strict=False))
        if index not in layout.columns and key_of(name) in ("start", "interval") and _VALUE.match(value)
    ]


def _aligned_entries(
    entries: list[Entry], names: list[str], units: list[SignalUnit | None], texts: list[str]
) -> tuple[list[str], list[SignalUnit | None], list[str]]:
    """Header lines that give one name or unit for each column."""
    for entry in entries:
        key = key_of(entry.key)
        values = [value for value in entry.values if value] if not entry.aligned else list(entry.values)
        if len(values) != len(names) or (len(names) < 2 and not entry.aligned):
            continue
        if key == "names" and not any(names):
            names = list(values)
        elif key == "value_unit" and not any(units):
            units = [find_signal_unit(value) for value in values]
            texts = list(values)
    return names, units, texts


def _header(entries: list[Entry]) -> Header:
    """Turn the keys that are known into the header's facts; the first value of a key counts."""
    facts: dict[str, Entry] = {}
    for entry in entries:
        key = key_of(entry.key)
        if key and entry.values and entry.values[0] and key not in facts:
            facts[key] = entry

    def number(key: str, kind: str | None = None, default: SignalUnit | None = None) -> float | None:
        entry = facts.get(key)
        match = _VALUE.match(entry.values[0]) if entry else None
        if entry is None or match is None:
            return None
        rest = match[2] or (entry.values[1] if len(entry.values) == 2 and not entry.aligned else "")
        unit = find_signal_unit(rest) if rest else entry.unit
        unit = unit or entry.unit or default
        if kind and unit and unit.kind != kind:
            return None
        value = float(match[1].replace(",", ".")) * (unit.factor if unit and kind else 1.0)
        return value if abs(value) < 1e12 else None

    time_unit = _unit_of(facts.get("time_unit"))
    value_entry = facts.get("value_unit")
    value_unit = _unit_of(value_entry)
    default = time_unit if time_unit and time_unit.kind == "time" else None
    rate = None
    if "rate" in facts:
        try:
            rate_entry = facts["rate"]
            printed = " ".join(v for v in rate_entry.values[: 1 if rate_entry.aligned else 2] if v)
            rate = parse_rate(printed if not rate_entry.unit else rate_entry.values[0])
            rate *= rate_entry.unit.factor if rate_entry.unit and rate_entry.unit.kind == "frequency" else 1.0
        except EntryRefused:
            rate = None
    interval = number("interval", "time", default)
    if interval is None and rate:
        interval = 1 / rate
    per_division, codes = number("per_division"), number("per_division_codes")
    code_scale = number("code_scale")
    if code_scale is None and per_division and codes:
        code_scale = per_division / codes
    date = facts["date"].values[0] if "date" in facts else ""
    clock = facts["clock"].values[0] if "clock" in facts else ""
    return Header(
        interval_s=interval if interval and 0 < interval < 1e6 else None,
        start_s=number("start", "time", default),
        time_unit=time_unit.symbol if time_unit else None,
        value_unit=value_unit.symbol if value_unit else None,
        probe_v_per_a=_probe(facts.get("probe")) or _probe(facts.get("attenuation")),
        probe_attenuation=number("attenuation"),
        code_scale=code_scale,
        code_offset=number("code_offset") or 0.0,
        code_zero=(number("code_zero") or 0.0) if code_scale else 0.0,
        volts_per_division=per_division,
        rows_promised=_promised(facts.get("rows"), number("rows"), interval),
        captured_at=parse_date(date, clock),
        spectrum=time_unit == UNITS["Hz"] or (value_unit is not None and value_unit.kind == "level"),
    )


def _promised(entry: Entry | None, told: float | None, interval_s: float | None) -> int | None:
    """Return how many rows the header speaks of, as a number or as the record's length in time."""
    if entry is None or told is None:
        return None
    match = _VALUE.match(" ".join(entry.values[:2]))
    unit = (find_signal_unit(match[2]) if match else None) or entry.unit
    if match and unit and unit.kind == "time":
        if not interval_s or interval_s <= 0:
            return None
        rounded = resolution_of(match[1], "," if "," in match[1] else ".")  # so much shorter it may be
        told = (told - rounded) * unit.factor / interval_s - 1
    return int(told) if 1 <= told < 1e12 else None


def _unit_of(entry: Entry | None) -> SignalUnit | None:
    return find_signal_unit(entry.values[0]) if entry and entry.values else None


def _probe(entry: Entry | None) -> float | None:
    if entry is None:
        return None
    try:
        return parse_probe(entry.values[0] if "/" in entry.values[0] else " ".join(entry.values[:2]))
    except EntryRefused:
        return None
