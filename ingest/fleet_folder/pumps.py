"""Which pump of the ledger each row of pumps.csv means."""

from __future__ import annotations

import duckdb
import numpy as np
import pandas as pd

from ingest.fleet_folder.merging import fill_matches
from ingest.fleet_folder.tables import PUMPS
from ingest.ledger.statements import statement

_EVER, _NEVER = pd.Timestamp("1700-01-01"), pd.Timestamp("2261-01-01")


def match_pumps(connection: duckdb.DuckDBPyConnection, rows: pd.DataFrame, known: np.ndarray) -> np.ndarray:
    """Return each row's place in the table `pump`, or -1; known: places that are known before.

    By ref; else unit, position and serial (with the fitting date where a serial came back to its position);
    else unit, position and fitting date, where one of the two has no serial; else a pump implied by visits
    in that position whose life the row can explain; else, without serial and dates, the one in service.
    """
    place = known.copy()
    existing = connection.execute(statement("ledger/all_rows", table="pump")).df()
    if existing.empty or rows.empty:
        return place
    existing["ledger_place"] = np.arange(len(existing))
    serial = rows["serial"] if "serial" in rows else pd.Series(None, index=rows.index, dtype="object")
    named = serial.notna().to_numpy()
    one_life = ("unit", "position", "serial")
    again = pd.MultiIndex.from_frame(existing.loc[existing.duplicated(list(one_life)), list(one_life)])
    mine = rows.assign(serial=serial)[list(one_life)]
    repeated = named & (mine.duplicated(keep=False) | pd.MultiIndex.from_frame(mine).isin(again)).to_numpy()
    dated = rows["fitted_on"].notna().to_numpy() if "fitted_on" in rows else np.zeros(len(rows), dtype=bool)
    serial_less = existing["serial"].isna()
    for todo, among, key in (
        (named & ~repeated, ~serial_less, one_life),
        (repeated, ~serial_less, PUMPS.key),
        (~named, serial_less, ("unit", "position", "fitted_on")),
        (~named & dated, ~serial_less, ("unit", "position", "fitted_on")),
        (named & dated, serial_less, ("unit", "position", "fitted_on")),
    ):
        free = existing[among & ~existing["ledger_place"].isin(place[place >= 0])]
        fill_matches(place, np.flatnonzero(todo & (place < 0)), free, rows, key)
    _adopt_implied(connection, existing, rows, place)
    _tell_of_the_one_in_service(existing, rows, place)
    return place


def _tell_of_the_one_in_service(existing: pd.DataFrame, rows: pd.DataFrame, place: np.ndarray) -> None:
    """Take a row of neither serial nor date, the only one of its position, as one on the pump fitted last
    that is still there, where no type contradicts: a list of units with their pumps, after one of jobs."""
    bare = pd.Series(place < 0, index=rows.index)
    for name in ("serial", "fitted_on", "removed_on"):
        if name in rows:
            bare &= rows[name].isna()
    bare &= ~rows.duplicated(["unit", "position"], keep=False)
    there = existing[existing["removed_on"].isna() & existing["fitted_on"].notna()]
    there = there[~there["ledger_place"].isin(place[place >= 0])].sort_values("fitted_on")
    for at in np.flatnonzero(bare):
        row = rows.iloc[at]
        mine = there[(there["unit"] == row["unit"]) & (there["position"] == row["position"])].tail(1)
        told = row.get("pump_type")
        if len(mine) and (pd.isna(told) or mine["pump_type"].iloc[0] in ("unknown", told)):
            place[at] = int(mine["ledger_place"].iloc[0])


def _adopt_implied(
    connection: duckdb.DuckDBPyConnection, existing: pd.DataFrame, rows: pd.DataFrame, place: np.ndarray
) -> None:
    """Give a pump that only visits implied to the first row whose life overlaps its own."""
    implied = connection.execute(statement("load/implied_pumps")).fetchall()
    free = existing[existing["pump_id"].isin([pump_id for (pump_id,) in implied])]
    free = free[~free["ledger_place"].isin(place[place >= 0])]
    if free.empty:
        return
    begins, ends = _date(rows, "fitted_on", _EVER), _date(rows, "removed_on", _NEVER)
    for at in free.index:
        pump = free.loc[at]
        fits = (rows["unit"] == pump["unit"]) & (rows["position"] == pump["position"]) & (place < 0)
        fits &= begins < (_NEVER if pd.isna(pump["removed_on"]) else pump["removed_on"])
        fits &= ends > (_EVER if pd.isna(pump["fitted_on"]) else pump["fitted_on"])
        if "serial" in rows and not pd.isna(pump["serial"]):
            fits &= rows["serial"].isna() | (rows["serial"] == pump["serial"])
        if fits.any():
            place[int(np.flatnonzero(fits)[0])] = int(pump["ledger_place"])


def _date(rows: pd.DataFrame, name: str, blank: pd.Timestamp) -> pd.Series:
    if name not in rows:
        return pd.Series(blank, index=rows.index)
    return rows[name].fillna(blank)
