"""A simulated fleet in a real ledger, for tests that go the whole way."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pandas as pd

from demo_fleet.fleet import SimulatedFleet, write_folder
from ingest.fleet_folder.loading import load_folder
from tests.authors import ANYBODY

DATED = {"visits": "visited_on", "services": "done_on", "breakdowns": "happened_on", "pumps": "fitted_on"}


def load_fleet(fleet: SimulatedFleet, folder: Path, *, drop: dict[str, list[str]] | None = None) -> Path:
    """Write the fleet folder (without the columns in `drop`) and load it; return the ledger."""
    tables = {name: table.drop(columns=(drop or {}).get(name, [])) for name, table in fleet.tables.items()}
    write_folder(replace(fleet, tables=tables), folder / "fleet")
    ledger = folder / "ledger.duckdb"
    load_folder(ledger, folder / "fleet", author=ANYBODY)
    return ledger


def known_by(fleet: SimulatedFleet, day: str) -> SimulatedFleet:
    """The fleet as somebody would have written it down on `day`: later facts are absent."""
    tables = {name: table.copy() for name, table in fleet.tables.items()}
    for name, column in DATED.items():
        tables[name] = tables[name][pd.to_datetime(tables[name][column]) <= pd.Timestamp(day)]
    pumps = tables["pumps"]
    later = pd.to_datetime(pumps["removed_on"]) > pd.Timestamp(day)
    for name in ("removed_on", "removed_odometer", "removal", "found"):
        pumps[name] = pumps[name].mask(later)
    tables["pumps"] = pumps
    return replace(fleet, tables=tables)
