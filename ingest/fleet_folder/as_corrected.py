"""A folder as the ledger has been put right since: units under their right names, visits moved, redated or
withdrawn by a person. So a folder that still brings the error changes nothing."""

from __future__ import annotations

from dataclasses import replace

import duckdb
import numpy as np
import pandas as pd

from ingest.fleet_folder.cells import ReadTable
from ingest.fleet_folder.tables import VEHICLES, VISITS
from ingest.ledger.statements import statement


def as_corrected(
    connection: duckdb.DuckDBPyConnection, tables: dict[str, ReadTable]
) -> tuple[dict[str, ReadTable], dict[str, int]]:
    """Return the tables with what was corrected, and how many rows of each file are passed over for it."""
    renamed = dict(connection.execute(statement("load/units_renamed")).fetchall())
    passed: dict[str, int] = {}
    out = {}
    for file, read in tables.items():
        rows = read.rows
        if renamed and "unit" in rows:
            if file == VEHICLES.file:
                gone = rows["unit"].isin(list(renamed)).to_numpy()
                passed[file] = int(gone.sum())
                rows = rows[~gone].reset_index(drop=True)
            else:
                rows = rows.assign(unit=rows["unit"].map(lambda unit: renamed.get(unit, unit)))
        if file == VISITS.file:
            rows, count = _visits(connection, rows)
            passed[file] = passed.get(file, 0) + count
        kept = set(rows["file_row"])
        questions = tuple(q for q in read.questions if q.row in kept)
        out[file] = read if rows is read.rows else replace(read, rows=rows, questions=questions)
    return out, passed


def _visits(connection: duckdb.DuckDBPyConnection, rows: pd.DataFrame) -> tuple[pd.DataFrame, int]:
    """Return visits with unit and day as corrected, without those that took an invented pump along."""
    put_right = connection.execute(statement("load/visits_put_right")).df()
    if put_right.empty or rows.empty:
        return rows, 0
    rows = rows.copy()
    gone = pd.Series(False, index=rows.index)
    odometer = rows["odometer_km"] if "odometer_km" in rows else pd.Series(float("nan"), index=rows.index)
    for was in put_right.itertuples(index=False):
        same = (rows["unit"] == str(was.unit)) & (rows["visited_on"] == pd.Timestamp(str(was.visited_on)))
        at_km = float(str(was.odometer_km))
        if not np.isnan(at_km):  # two of one day are told apart by it
            same &= odometer.isna() | ((odometer - at_km).abs() < 1.0)
        if was.gone:
            gone |= same
            continue
        right = {"unit": str(was.right_unit), "visited_on": pd.Timestamp(str(was.right_day))}
        if "position" in rows:
            right["position"] = str(was.position)
        rows = rows.assign(**{name: rows[name].mask(same, value) for name, value in right.items()})
    return rows[~gone].reset_index(drop=True), int(gone.sum())
