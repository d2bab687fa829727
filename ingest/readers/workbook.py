"""Sheets of a workbook (.xlsx, .xlsm, .xlsb, .xls, .ods) as text cells, read in the parsing child."""

from __future__ import annotations

import json
from datetime import date, datetime, time, timedelta
from typing import Any

from ingest.apart.child import BUSY, ChildEnded
from ingest.errors import EntryRefused
from ingest.readers.read_apart import ask_apart

MOST_CELLS = 20_000_000
WALL_S = 90.0
_ZIP, _OLD = b"PK\x03\x04", b"\xd0\xcf\x11\xe0"


def is_workbook(data: bytes) -> bool:
    """Return whether a file begins as workbooks do."""
    return data.startswith((_ZIP, _OLD))


def read_workbook(name: str, data: bytes) -> dict[str, list[list[str]]]:
    """Return each sheet's rows of cells as text, by the sheet's name; days as ISO writes them.

    Raises EntryRefused for a file that can't be read as a workbook, or ends what reads it.
    """
    try:
        answer, body = ask_apart({"name": name, "workbook": True}, data, WALL_S, sound=bool)
    except ChildEnded as ended:
        raise EntryRefused(
            "bad-workbook",
            f"{BUSY}, or save the sheet as CSV (UTF-8)."
            if ended.starved
            else f"this workbook {'takes too long to read' if ended.over_time else 'is damaged'};"
            " save the sheet as CSV (UTF-8).",
        ) from ended
    if "refused" in answer:
        raise EntryRefused("bad-workbook", str(answer["refused"][1]))
    sheets: dict[str, list[list[str]]] = json.loads(body)
    return sheets


def parse_workbook(data: bytes) -> dict[str, list[list[str]]]:
    """As `read_workbook`, in this process; for the child."""
    import io

    import python_calamine as calamine

    try:
        book = calamine.CalamineWorkbook.from_filelike(io.BytesIO(data))
        sheets, cells = {}, 0
        for name in book.sheet_names:
            sheet = book.get_sheet_by_name(name)
            cells += sheet.total_height * sheet.total_width
            if cells > MOST_CELLS:
                raise EntryRefused(
                    "bad-workbook",
                    f"this workbook has more than {MOST_CELLS:,} cells; save it as CSV (UTF-8).",
                )
            sheets[name] = [[_text(cell) for cell in row] for row in sheet.to_python(skip_empty_area=False)]
    except calamine.PasswordError as error:
        raise EntryRefused(
            "bad-workbook", "this workbook is locked by a password; save it without, or as CSV (UTF-8)."
        ) from error
    except (calamine.CalamineError, calamine.XmlError, calamine.ZipError, OSError, ValueError) as error:
        raise EntryRefused(
            "bad-workbook", "this workbook can't be read; save the sheet as CSV (UTF-8)."
        ) from error
    return sheets


def _text(cell: Any) -> str:
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, datetime):
        return cell.date().isoformat() if cell.time() == time() else cell.isoformat(sep=" ")
    if isinstance(cell, date | time):
        return cell.isoformat()
    if isinstance(cell, timedelta):
        return str(cell)
    return str(cell)
