"""The tables of a fleet folder as data: what each column holds and where it goes in the ledger."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from ingest import vocabulary as words
from ingest.metrics import METRICS
from ingest.typed import LONGEST_NAME, LONGEST_TEXT, NUMBERS

ColumnKind = Literal["id", "text", "number", "integer", "date", "moment", "choice", "distance", "flag"]


@dataclass(frozen=True)
class Column:
    """One column of a CSV.

    name: the header; ledger: its ledger column (default: the same); kind "distance" is in the fleet's
    distance unit and kept in km; low/high: the closed range outside which a value is impossible, km for a
    distance (no analysis can stand on an interval of nothing, or a specification that ends at 0); unit: the
    unit of a bare number, where a cell may carry one ("58 psi" in fuel_pressure_kpa);
    longest: characters of a text.
    """

    name: str
    kind: ColumnKind
    ledger: str = ""
    required: bool = False
    choices: tuple[str, ...] = ()
    low: float = -1e12
    high: float = 1e12
    unit: str = ""
    default: str | float | None = None
    longest: int = LONGEST_NAME

    @property
    def target(self) -> str:
        """The ledger column."""
        return self.ledger or self.name


@dataclass(frozen=True)
class Table:
    """One CSV of the folder: its ledger table, its columns, the ledger's id column and the natural key."""

    file: str
    ledger: str
    columns: tuple[Column, ...]
    id_column: str = ""
    key: tuple[str, ...] = ()

    @property
    def by_name(self) -> dict[str, Column]:
        """Columns by header name."""
        return {column.name: column for column in self.columns}


# What people write sentences in.
_PROSE = {"note", "failure_mode", "failure_mechanism", "cause", "claim", "spec_source"}


def _id(name: str, **more: object) -> Column:
    return Column(name, "id", **more)  # type: ignore[arg-type]


def _text(name: str) -> Column:
    return Column(name, "text", longest=LONGEST_TEXT if name in _PROSE else LONGEST_NAME)


def _number(name: str, low: float = 0, high: float = 1e12, unit: str = "", ledger: str = "") -> Column:
    return Column(name, "number", ledger, low=low, high=high, unit=unit)


def _of_visit(name: str, unit: str = "") -> Column:
    return _number(name, *NUMBERS[name], unit)


def _integer(name: str, low: float = 0, high: float = 2e9) -> Column:
    return Column(name, "integer", low=low, high=high)


def _distance(name: str, ledger: str, low: float = 0, high: float = NUMBERS["odometer_km"][1]) -> Column:
    return Column(name, "distance", ledger, low=low, high=high)


def _date(name: str, **more: object) -> Column:
    return Column(name, "date", **more)  # type: ignore[arg-type]


def _choice(name: str, *choices: str, **more: object) -> Column:
    return Column(name, "choice", choices=choices, **more)  # type: ignore[arg-type]


_REF = _id("ref")
# The number that a row has in the ledger that wrote the folder (its `ledger_id` stands in fleet.toml).
ROW_ID = "row_id"
_ROW_ID = _integer(ROW_ID)
_UNIT = _id("unit", required=True)
_POSITION = _id("position", default="main")
_ODOMETER = _distance("odometer", "odometer_km")

VEHICLES = Table(
    "vehicles.csv",
    "vehicle",
    (
        _UNIT,
        _id("vin"),
        _integer("year", 1900, 2100),
        _text("make"),
        _text("model"),
        _text("engine"),
        _text("class"),
        _text("depot"),
        _number("system_v", 5, 60, "V"),
        _date("in_service_on"),
        _date("records_from"),
        _date("retires_on"),
        _distance("pm_interval", "pm_interval_km", 50, 1e6),
        _integer("pm_interval_days", 1, 3650),
        _number("pm_interval_hours", 1, 100_000),
        _number("job_hours", 0, 1000),
        _choice("clock", *words.CLOCKS),
        _REF,
    ),
    id_column="unit",
    key=("unit",),
)
PUMP_TYPES = Table(
    "pump_types.csv",
    "pump_type",
    (
        _id("pump_type", required=True),
        _choice("motor", *words.MOTORS),
        _choice("supply", *words.SUPPLIES),
        _text("fuel"),
        _integer("segments", 2, 200),
        _integer("poles", 2, 12),
        _number("current_low_a", 0, 100, "A"),
        _number("current_high_a", 0.1, 100, "A"),
        _number("spec_at_v", 3, 60, "V"),
        _number("spec_at_kpa", 0, 5000, "kPa"),
        _number("ripple_limit_pct", 0.1, 1000),
        _number("rpm_low", 0, 60000),
        _number("rpm_high", 100, 60000),
        _number("rated_pressure_kpa", 1, 5000, "kPa"),
        _number("min_delivery_l_min", 0.01, 100, "L/min"),
        _choice("filter", *words.FILTERS),
        _number("lead_time_days", 0, 3650),
        _number("price", 0, 1e9),
        _number("warranty_months", 0, 1200),
        _distance("warranty_distance", "warranty_distance_km"),
        _text("spec_source"),
        _REF,
    ),
    id_column="pump_type",
    key=("pump_type",),
)
PUMPS = Table(
    "pumps.csv",
    "pump",
    (
        _UNIT,
        _POSITION,
        _id("pump_type", default="unknown"),
        _id("serial"),
        _id("lot"),
        _number("run_share", 0.001, 1),
        _date("fitted_on"),
        _distance("fitted_odometer", "fitted_odometer_km"),
        _number("fitted_hours", *NUMBERS["hours"]),
        _distance("prior_distance", "prior_distance_km"),
        _date("removed_on"),
        _distance("removed_odometer", "removed_odometer_km"),
        _number("removed_hours", *NUMBERS["hours"]),
        _choice("removal", *words.REMOVALS),
        _choice("found", *words.FOUND),
        _text("failure_mode"),
        _text("failure_mechanism"),
        _text("cause"),
        _number("cost", 0, 1e9),
        _text("claim"),
        _REF,
        _ROW_ID,
    ),
    id_column="pump_id",
    key=("unit", "position", "serial", "fitted_on"),
)
_METRICS = tuple(
    _number(name, low, m.folder[1], "A" if m.unit == "A" else "")
    for m in METRICS
    if m.folder
    for name, low in ((m.name, m.folder[0]), *([(m.error, 0)] if m.error else []))
)
METRIC_NAMES = tuple(column.name for column in _METRICS)
VISITS = Table(
    "visits.csv",
    "visit",
    (
        _UNIT,
        _POSITION,
        _id("serial"),
        _date("visited_on", required=True),
        _ODOMETER,
        _of_visit("hours"),
        _choice("reason", *words.REASONS, default="pm"),
        _choice("state", *words.STATES),
        _choice("zero_checked", *words.YES_NO),
        _text("probe"),
        _text("channel"),
        _choice("motor", *words.MOTORS),
        _choice("supply", *words.SUPPLIES),
        _integer("segments", 2, 200),
        _integer("poles", 2, 12),
        _choice("commanded", *words.COMMANDED),
        _of_visit("duty_pct"),
        _text("fuel"),
        _text("capture"),
        *_METRICS,
        _of_visit("meter_a", "A"),
        _of_visit("supply_v", "V"),
        _choice("supply_v_at", *words.SUPPLY_AT),
        _of_visit("drop_supply_v", "V"),
        _of_visit("drop_ground_v", "V"),
        _of_visit("fuel_pressure_kpa", "kPa"),
        _of_visit("delivery_l_min", "L/min"),
        _choice("delivery_at", *words.DELIVERY_AT),
        _of_visit("pressure_hold_kpa", "kPa"),
        *(_choice(part, *words.PART_FOUND) for part in words.PARTS),
        _choice("check_result", *words.CHECK_RESULTS),
        _id("closes"),
        _of_visit("fuel_temp_c", "°C"),
        _of_visit("fuel_level_pct"),
        _id("clamp"),
        _text("clamp_point"),
        _text("technician"),
        _text("note"),
        _REF,
        _ROW_ID,
        _integer("pump_row_id"),
    ),
    id_column="visit_id",
    key=("unit", "position", "visited_on", "pump_id", "capture_hash"),
)
SERVICES = Table(
    "services.csv",
    "service",
    (
        _UNIT,
        _date("done_on", required=True),
        _ODOMETER,
        _choice("work", *words.WORK, required=True),
        _text("note"),
        _REF,
        _ROW_ID,
    ),
    id_column="service_id",
    key=("unit", "done_on", "work"),
)
BREAKDOWNS = Table(
    "breakdowns.csv",
    "breakdown",
    (
        _UNIT,
        _id("position"),
        _date("happened_on", required=True),
        _ODOMETER,
        _choice("pump_confirmed", *words.CONFIRMED),
        _number("cost", 0, 1e9),
        _text("note"),
        _REF,
        _ROW_ID,
    ),
    id_column="breakdown_id",
    key=("unit", "happened_on", "position"),
)
STOCK = Table(
    "stock.csv",
    "stock",
    (
        Column("depot", "id", required=True),
        Column("pump_type", "id", required=True),
        Column("count", "integer", "on_hand", required=True, low=0, high=1e6),
        _REF,
    ),
    key=("depot", "pump_type"),
)
BAYS = Table(
    "bays.csv",
    "bay_hours",
    (
        Column("depot", "id", required=True),
        Column("week", "date", "week_of"),
        Column("hours", "number", required=True, low=0, high=1e5),
        _REF,
    ),
    key=("depot", "week_of"),
)
DUE_WORK = Table(
    "due_work.csv",
    "due_work",
    (
        _UNIT,
        Column("due_on", "date", required=True),
        Column("work", "text", required=True),
        _number("hours", 0, 1e5),
        _REF,
    ),
    key=("unit", "due_on", "work"),
)
ODOMETERS = Table(
    "odometers.csv",
    "odometer",
    (
        _UNIT,
        _date("read_on", required=True),
        Column("odometer", "distance", "odometer_km", required=True, low=0, high=2e7),
        # cluster-replaced: the reading of a new instrument cluster, which starts the count anew
        _choice("source", "reading", "cluster-replaced", default="reading"),
        _REF,
    ),
    key=("unit", "read_on", "source"),
)

CLAMPS = Table(
    "clamps.csv",
    "clamp",
    (
        _id("clamp", required=True),
        _text("factor"),
        _text("channel"),
        _number("range_a", 0.1, 10_000, "A"),
        _number("pct", 0, 100),
        _number("offset_a", 0, 100, "A"),
        _text("owner"),
        _date("checked_on"),
        _date("due_on"),
        _text("note"),
        _REF,
    ),
    id_column="clamp",
    key=("clamp",),
)
CLAMP_CHECKS = Table(
    "clamp_checks.csv",
    "clamp_check",
    (
        _id("clamp", required=True),
        _date("checked_on", required=True),
        Column("known_a", "number", required=True, low=0.01, high=10_000, unit="A"),
        Column("read_a", "number", required=True, low=-10_000, high=10_000, unit="A"),
        _text("checked_by"),
        _text("note"),
        _REF,
    ),
    id_column="check_id",
    key=("clamp", "checked_on", "known_a", "read_a"),
)

# In the order they go in: what others refer to comes first.
TABLES = (
    VEHICLES, PUMP_TYPES, CLAMPS, CLAMP_CHECKS, ODOMETERS, PUMPS, VISITS, SERVICES, BREAKDOWNS, STOCK, BAYS,
    DUE_WORK,
)  # fmt: skip

# Other headers the same column goes by.
SYNONYMS = {"stock.csv": {"on_hand": "count"}, "bays.csv": {"week_of": "week"}}
# The column that a file of refused rows begins with; it is passed over when the mended file comes back.
REFUSED_BECAUSE = "refused_because"


def column_meant(name: str, table: Table) -> str:
    """Return the column that a header means (`In service on` is in_service_on); an unknown one as it is."""
    plain = re.sub(r"[\W_]+", "_", name.strip().lower()).strip("_")
    plain = SYNONYMS.get(table.file, {}).get(plain, plain)
    return plain if plain in table.by_name or plain == REFUSED_BECAUSE else name
