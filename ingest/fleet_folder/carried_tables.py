"""What an export carries beside its tables, as it stands in the folder `ledger`: decisions, notes, answers,
claims, holds, photos, settings and prices, by the row numbers of the ledger that wrote it."""

from __future__ import annotations

from pathlib import Path

from ingest import vocabulary as words
from ingest.errors import EntryRefused
from ingest.fleet_folder.cells import ReadTable, read_table
from ingest.fleet_folder.report import RowProblem
from ingest.fleet_folder.tables import Column, ColumnKind, Table
from ingest.typed import LONGEST_NAME, LONGEST_TEXT

FOLDER = "ledger"
_LONGEST_PICTURE = 20_000_000  # letters of base64
_LONGEST_DETAILS = 1_000_000


def _table(name: str, id_column: str, key: tuple[str, ...], *columns: Column) -> Table:
    number = Column(id_column, "integer", required=True, low=0, high=2e9)
    return Table(f"{FOLDER}/{name}.csv", name, (number, *columns), id_column=id_column, key=key)


def _some(kind: ColumnKind, *names: str, longest: int = LONGEST_NAME) -> tuple[Column, ...]:
    return tuple(Column(name, kind, longest=longest) for name in names)


def _row(name: str, *, required: bool = False) -> Column:
    return Column(name, "integer", required=required, low=0, high=2e9)


_PICTURE = Column("picture", "text", longest=_LONGEST_PICTURE)

CONNECTION_NOTES = _table(
    "connection_note", "note_id",
    ("make", "model", "engine", "year_from", "year_to", "clamp_point", "fuse", "access", "note"),
    *_some("text", "make", "model", "engine"),
    *(Column(name, "integer", low=1900, high=2100) for name in ("year_from", "year_to")),
    *_some("text", "clamp_point", "fuse", "access", "note", longest=LONGEST_TEXT), _PICTURE,
)  # fmt: skip
BOOKINGS = _table(
    "booking", "booking_id", ("pump_id", "status", "decided_at"), _row("pump_id", required=True),
    Column("status", "choice", required=True, choices=words.BOOKING_STATES),
    *_some("date", "planned_on"), *_some("text", "reason", longest=LONGEST_TEXT),
    *_some("number", "risk", "expected_saving"), *_some("text", "decided_by"),
    Column("decided_at", "moment", required=True),
)  # fmt: skip
CLAIMS = _table(
    "claim_step", "step_id", ("pump_id", "state", "stated_on"), _row("pump_id", required=True),
    Column("state", "choice", required=True, choices=words.CLAIM_STATES),
    Column("stated_on", "date", required=True), *_some("text", "stated_by"),
    Column("amount", "number", low=0, high=1e9), *_some("text", "note", longest=LONGEST_TEXT),
)  # fmt: skip
HOLDS = _table(
    "hold", "hold_id", ("pump_type", "lot", "held_on"), Column("pump_type", "id", required=True),
    *_some("id", "lot"), Column("reason", "text", required=True, longest=LONGEST_TEXT),
    Column("held_on", "date", required=True), *_some("text", "held_by"), *_some("date", "lifted_on"),
    *_some("text", "lifted_by"), *_some("text", "lifted_because", longest=LONGEST_TEXT),
)  # fmt: skip
HOLDS_CLOSED = _table(
    "hold_closed", "closed_id", ("hold_id", "pump_id", "depot", "closed_on", "outcome"),
    _row("hold_id", required=True), _row("pump_id"), *_some("id", "depot"),
    Column("closed_on", "date", required=True), *_some("text", "closed_by"),
    Column("outcome", "choice", required=True, choices=words.HOLD_OUTCOMES),
    *_some("text", "note", longest=LONGEST_TEXT),
)  # fmt: skip
PHOTOS = _table(
    "photo", "photo_id", ("visit_id", "picture_hash"), _row("visit_id", required=True),
    Column("shows", "choice", required=True, choices=words.PHOTO_SHOWS),
    Column("picture_hash", "id", required=True), *_some("text", "taken_by"), _PICTURE,
)  # fmt: skip
ANSWERS = _table(
    "question", "question_id", ("table_name", "row_key", "field", "code"),
    Column("raised_at", "moment", required=True), Column("table_name", "id", required=True),
    Column("row_key", "id", required=True), *_some("id", "unit", "field"),
    Column("code", "id", required=True),
    *_some("text", "details", longest=_LONGEST_DETAILS), *_some("text", "text", longest=_LONGEST_DETAILS),
    Column("status", "choice", required=True, choices=words.QUESTION_STATES),
    *_some("text", "answer", longest=LONGEST_TEXT), *_some("text", "answered_by"),
    *_some("moment", "answered_at"),
)  # fmt: skip
# How visits stand there, and which pumps and units there still are.
STANDING = _table(
    "visit", "visit_id", (), Column("withdrawn", "choice", required=True, choices=words.YES_NO),
    Column("in_trend", "choice", required=True, choices=words.YES_NO),
)  # fmt: skip
STILL_PUMPS = _table("pump", "pump_id", ())
STILL_UNITS = Table(f"{FOLDER}/vehicle.csv", "vehicle", (Column("unit", "id", required=True),), "unit")
# Settings and prices with the day each holds from: for a new ledger, which has none.
SETTINGS = _table(
    "setting", "setting_id", (), Column("key", "id", required=True),
    Column("value", "text", required=True, longest=LONGEST_TEXT), *_some("date", "valid_from"),
    *_some("text", "set_by"),
)  # fmt: skip
PRICES = _table(
    "cost_entry", "cost_id", (), Column("element", "id", required=True),
    Column("amount", "number", required=True, low=0, high=1e12), *_some("text", "currency"),
    *_some("id", "class", "depot"), *_some("date", "valid_from"),
    *_some("text", "source", longest=LONGEST_TEXT),
    Column("confirmed", "choice", choices=words.YES_NO), *_some("text", "set_by"),
)  # fmt: skip
# The rows that each table's numbers mean, in the order they go in.
POINTS_TO: dict[Table, dict[str, str]] = {
    CONNECTION_NOTES: {}, BOOKINGS: {"pump_id": "pump"}, CLAIMS: {"pump_id": "pump"}, HOLDS: {},
    HOLDS_CLOSED: {"hold_id": "hold", "pump_id": "pump"}, PHOTOS: {"visit_id": "visit"},
}  # fmt: skip
CARRIED = (*POINTS_TO, ANSWERS, STANDING, STILL_PUMPS, STILL_UNITS, SETTINGS, PRICES)


def read_carried(folder: Path) -> tuple[dict[str, ReadTable], list[RowProblem]]:
    """Return what the export in `folder` carries, by file, and the rows of it that can't be read."""
    tables: dict[str, ReadTable] = {}
    refused: list[RowProblem] = []
    for table in CARRIED:
        path = folder / table.file
        if not path.is_file():
            continue
        try:
            tables[table.file] = read = read_table(path, table, distance_unit="km")
        except EntryRefused as error:
            refused.append(RowProblem(table.file, 0, "", error.code, error.text))
            continue
        refused += read.refused
    return tables, refused
