"""Settings and prices as an export holds them in `ledger/`, each with the day it holds from, for whom, and by
whom: a new ledger takes them whole, where fleet.toml has only what is in force for the whole fleet."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import Any

import duckdb
import pandas as pd

from ingest.errors import EntryRefused
from ingest.fleet_folder.carried_tables import PRICES, SETTINGS
from ingest.fleet_folder.cells import ReadTable
from ingest.fleet_folder.report import RowProblem, TableCount
from ingest.fleet_folder.settings_file import FILE, FleetFile
from ingest.ledger.rows import insert_row
from ingest.ledger.settings import settings_chosen
from ingest.ledger.statements import statement
from ingest.ledger.transaction import Stamp
from ingest.setting_values import demand_value
from ingest.settings_in_force import by_name
from ingest.trade_numbers import DEFAULTS

_ALWAYS = date(1900, 1, 1)


def bring_dated(
    connection: duckdb.DuckDBPyConnection, carried: Mapping[str, ReadTable], stamp: Stamp
) -> tuple[list[TableCount], list[RowProblem]]:
    """Bring in every setting and price of an export, in its order; returns counts and rows refused.

    For a ledger that has none: what is there already would hold or not by chance.
    """
    counts, refused = [], []
    for table, check in ((SETTINGS, _setting), (PRICES, lambda row: row)):
        read = carried.get(table.file)
        if read is None:
            continue
        wrong: list[RowProblem] = []
        added = 0
        for told in read.rows.sort_values(str(table.id_column)).to_dict("records"):
            try:
                row = check(_cells(told, table.id_column))
            except EntryRefused as error:
                wrong.append(RowProblem(table.file, int(told["file_row"]), "value", error.code, error.text))
                continue
            insert_row(connection, table.ledger, row | {"recorded_at": stamp.at})
            added += 1
        refused += wrong
        bad = len(wrong) + len(read.refused)
        counts.append(TableCount(table.file, added + bad, added, refused=bad))
    return [count for count in counts if count.rows], refused


def still_to_say(connection: duckdb.DuckDBPyConnection, fleet: FleetFile) -> tuple[FleetFile, list[str]]:
    """Return what fleet.toml says of settings and prices that an export's own tables don't have at all, and a
    sentence on those in which the two differ: the tables stand."""
    settings = settings_chosen(connection)
    costs = dict(connection.execute(statement("export/costs")).fetchall())
    differ = [key for key, value in fleet.settings.items() if key in settings and settings[key] != value]
    differ += [key for key, value in fleet.costs.items() if key in costs and costs[key] != value]
    left = replace(
        fleet,
        settings={
            key: value
            for key, value in fleet.settings.items()
            if key not in settings and key not in costs and value != by_name(DEFAULTS, key)
        },
        costs={key: value for key, value in fleet.costs.items() if key not in costs},
    )
    said = f"{FILE}: the dated values in {SETTINGS.file} and {PRICES.file} stand; others there: "
    return left, [said + ", ".join(dict.fromkeys(differ)) + "."] if differ else []


def _cells(told: Mapping[Any, Any], number: str | None) -> dict[str, Any]:
    row = {name: value for name, value in told.items() if name not in (number, "file_row")}
    row = {name: None if pd.isna(value) else value for name, value in row.items()}
    start = row.get("valid_from")
    row["valid_from"] = _ALWAYS if start is None else pd.Timestamp(start).date()
    if "confirmed" in row:
        row["confirmed"] = row["confirmed"] == "yes"
    return row


def _setting(row: dict[str, Any]) -> dict[str, Any]:
    key = row["key"]
    if key not in DEFAULTS:
        raise EntryRefused("unknown-setting", f"'{key}' is no setting")
    try:
        value = json.loads(row["value"])
    except (ValueError, RecursionError) as error:
        raise EntryRefused("bad-setting", f"{key}: its value can't be read") from error
    demand_value(key, value)
    return row | {"value": json.dumps(value)}
