"""fleet.toml: the fleet's units, currency and costs, into the tables `setting` and `cost_entry`."""

from __future__ import annotations

import json
import re
import tomllib
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import duckdb

from ingest.dates import ORDERS, SEPARATORS
from ingest.errors import EntryRefused
from ingest.fleet_folder.report import TableCount
from ingest.ledger.changes import log_change
from ingest.ledger.rows import insert_row
from ingest.ledger.settings import settings_at
from ingest.ledger.statements import statement
from ingest.ledger.transaction import Stamp
from ingest.setting_values import demand_value
from ingest.trade_numbers import DEFAULTS

FILE = "fleet.toml"
# How the folder is to be read; nothing to keep.
_READING_KEYS = ("date_order", "time_zone", "ledger_id")
MOST_COST = 1e12
_COST_TABLES = ("cost", "costs")


@dataclass(frozen=True)
class FleetFile:
    """What fleet.toml says. `costs` maps a cost element to its amount; `ledger_id`: which ledger wrote it."""

    settings: dict[str, Any] = field(default_factory=dict)
    costs: dict[str, float] = field(default_factory=dict)
    date_order: str | dict[str, str] = ""
    time_zone: str = ""
    notices: tuple[str, ...] = ()
    ledger_id: str = ""


def read_fleet_file(folder: Path) -> FleetFile:
    """Read fleet.toml of `folder` (an absent one says nothing). Raises EntryRefused naming a bad key."""
    path = folder / FILE
    if not path.exists():
        return FleetFile()
    try:
        content = tomllib.loads(path.read_bytes().decode("utf-8-sig"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise EntryRefused("bad-toml", f"{FILE} can't be read: {error}.") from error
    except RecursionError as error:
        raise EntryRefused("bad-toml", f"{FILE} can't be read: it is nested too deeply.") from error
    settings: dict[str, Any] = {}
    costs: dict[str, float] = {}
    notices = []
    for name in _COST_TABLES:
        content |= content.pop(name, {}) if isinstance(content.get(name), dict) else {}
    for key, value in content.items():
        is_amount = isinstance(value, int | float) and not isinstance(value, bool)
        if key in _READING_KEYS:
            continue
        if key in DEFAULTS:
            demand_value(key, value, f"{FILE}, ")
            settings[key] = float(value) if is_amount else value
        if is_amount and (key not in DEFAULTS or key in ("planned_replacement", "failure_replacement")):
            if not 0 <= value <= MOST_COST:
                raise EntryRefused(
                    "bad-setting", f"{FILE}, {key}: {value:g} can't be a cost; give 0 or more."
                )
            costs[key] = float(value)
        elif key not in DEFAULTS:
            notices.append(f"{FILE}: unknown key '{key}' left out.")
    order = content.get("date_order", "")
    by_mark = order if isinstance(order, dict) else dict.fromkeys(SEPARATORS, order)
    for mark, said in by_mark.items():
        if mark not in SEPARATORS or (said not in ORDERS and order != ""):
            raise EntryRefused(
                "bad-setting",
                f"{FILE}, date_order: '{said}' is not one of {', '.join(ORDERS)}; by separator it is"
                ' written like { "/" = "month-first", "." = "day-first" }.',
            )
    zone = content.get("time_zone", "")
    try:
        if zone:
            ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError, TypeError) as error:
        raise EntryRefused(
            "bad-setting", f"{FILE}, time_zone: '{zone}' is not a time zone; write it like America/Denver."
        ) from error
    written_by = content.get("ledger_id", "")
    if not isinstance(written_by, str) or not re.fullmatch(r"([0-9a-f-]{36})?", written_by):
        raise EntryRefused(
            "bad-setting",
            f"{FILE}, ledger_id: '{written_by}' is not what an export writes; leave the line out.",
        )
    return FleetFile(settings, costs, order, zone, tuple(notices), written_by)


def is_new(connection: duckdb.DuckDBPyConnection) -> bool:
    """Return whether a ledger holds no unit and no setting yet."""
    return not any(
        connection.execute(statement("ledger/all_rows", table=name)).fetchone()
        for name in ("vehicle", "setting", "cost_entry")
    )


def other_settings(connection: duckdb.DuckDBPyConnection, fleet: FleetFile) -> list[str]:
    """Say that another ledger's settings and prices stay there. Raises EntryRefused where its money is
    another."""
    ours = settings_at(connection)
    theirs = fleet.settings.get("currency", ours["currency"])
    if theirs != ours["currency"]:
        raise EntryRefused(
            "other-currency",
            f"{FILE}: this export has its money in {theirs}, this ledger in {ours['currency']}; nothing is"
            " converted. Set the same currency in both first.",
        )
    costs = dict(connection.execute(statement("export/costs")).fetchall())
    differ = [key for key, value in fleet.settings.items() if ours.get(key) != value]
    differ += [key for key, value in fleet.costs.items() if costs.get(key) != value and key not in differ]
    if not differ:
        return []
    return [f"{FILE}: this ledger's own settings and prices stand; others there: {', '.join(differ)}."]


def store_fleet_file(
    connection: duckdb.DuckDBPyConnection, fleet: FleetFile, stamp: Stamp, today: date
) -> TableCount:
    """Add dated rows for what differs from the ledger; the first value of a key holds for all time before."""
    added = changed = 0
    currency = fleet.settings.get("currency")
    for key, value in fleet.settings.items():
        rows = connection.execute(statement("load/setting_values"), [key]).fetchall()
        old = json.loads(rows[-1][0]) if rows else None
        if old == value:
            continue
        valid_from = today if rows and isinstance(value, float) else date(1900, 1, 1)
        row = {"key": key, "value": json.dumps(value), "valid_from": valid_from, "set_by": stamp.by or FILE}
        insert_row(connection, "setting", row | {"recorded_at": stamp.at})
        added, changed = added + (not rows), changed + bool(rows)
        if rows:
            log_change(connection, "setting", key, "value", json.dumps(old), json.dumps(value), stamp)
    for element, amount in fleet.costs.items():
        rows = connection.execute(
            statement("load/amounts"),
            [element, FILE],
        ).fetchall()
        if rows and rows[-1][0] == amount:
            continue
        row = {"element": element, "amount": amount, "currency": currency, "source": FILE, "confirmed": True}
        row |= {
            "valid_from": today if rows else date(1900, 1, 1),
            "set_by": stamp.by,
            "recorded_at": stamp.at,
        }
        insert_row(connection, "cost_entry", row)
        if element not in fleet.settings:
            added, changed = added + (not rows), changed + bool(rows)
        if rows:
            log_change(connection, "cost_entry", element, "amount", rows[-1][0], amount, stamp)
    total = len(fleet.settings | fleet.costs)
    return TableCount(FILE, total, added, changed, total - added - changed)
