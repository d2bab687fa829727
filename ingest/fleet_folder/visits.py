"""The visits of a fleet folder: find each one's pump, imply pumps nobody recorded, merge, add readings."""

from __future__ import annotations

from collections.abc import Mapping

import duckdb
import numpy as np
import pandas as pd

from ingest.chains.chain import CaptureResult
from ingest.errors import Question
from ingest.fleet_folder.doubts import Questions
from ingest.fleet_folder.merging import (
    Merged,
    composite_key,
    fill_matches,
    merge_rows,
)
from ingest.fleet_folder.other_ledgers import RowKeys
from ingest.fleet_folder.report import asked
from ingest.fleet_folder.tables import METRIC_NAMES, VISITS
from ingest.ledger.changes import as_text, log_cells
from ingest.ledger.reading_rows import insert_readings
from ingest.ledger.rows import insert_rows
from ingest.ledger.statements import statement
from ingest.ledger.transaction import Stamp
from ingest.ledger.visit_rows import insert_capture
from ingest.reading import Reading
from ingest.wording.questions import between_pumps, implied_pump, outside_pump_life

_FILE = VISITS.file


def attach_pumps(
    connection: duckdb.DuckDBPyConnection,
    rows: pd.DataFrame,
    questions: Questions,
    stamp: Stamp,
    keys: RowKeys,
) -> tuple[pd.Series, list[tuple[int, Question]]]:
    """Return each visit's pump_id, and what is doubtful about it (place, code, text).

    A pump that the visit names by its number in the ledger that wrote the folder is that, if it is of that
    unit and position.

    Visits of a unit and position without a pump on that day get one implied, of unknown age, with a question.
    """
    incoming = pd.DataFrame(
        {
            "place": np.arange(len(rows)),
            "unit": rows["unit"],
            "position": rows["position"],
            "serial": rows.get("serial"),
            "visited_on": rows["visited_on"].to_numpy(dtype="datetime64[us]"),
            "reason": rows.get("reason"),
        }
    )
    incoming["serial"] = incoming["serial"].astype("object").where(incoming["serial"].notna(), None)
    pump = _by_number(connection, rows, keys)
    found = _query(connection, "load/attach_visits", incoming[pump.isna().to_numpy()])
    pump[found["place"]] = found["pump_id"].to_numpy()
    outside = found.loc[~found["within_life"], "place"]
    doubts = [(int(place), outside_pump_life()) for place in outside]
    left = incoming[pump.isna().to_numpy()]
    if len(left):
        around = _query(connection, "load/visits_without_pump", left)
        around = left.merge(around, on="place")
        doubts += _place_between(around, pump)
        around = around[pump[around["place"]].isna().to_numpy()]
        _take_serials(connection, around, pump, stamp)
        around = around[pump[around["place"]].isna().to_numpy()]
        named = around["serial"].notna()
        _imply(connection, around[named], rows, pump, questions, stamp)
        rest = left[left["place"].isin(around.loc[~named, "place"])]
        if named.any() and len(rest):  # what names no serial may belong to a pump just implied by one
            again = _query(connection, "load/attach_visits", rest)
            pump[again["place"]] = again["pump_id"].to_numpy()
        around = around[pump[around["place"]].isna().to_numpy()]
        _imply(connection, around, rows, pump, questions, stamp)
    return pump.astype("int64"), doubts


def _by_number(connection: duckdb.DuckDBPyConnection, rows: pd.DataFrame, keys: RowKeys) -> pd.Series:
    pump = pd.Series(pd.NA, index=range(len(rows)), dtype="Int64")
    if "pump_row_id" not in rows or not keys.written_by:
        return pump
    pumps = connection.execute(statement("ledger/all_rows", table="pump")).df()
    stands = dict(zip(pumps["pump_id"], zip(pumps["unit"], pumps["position"], strict=True), strict=True))
    told = zip(rows["pump_row_id"], rows["unit"], rows["position"], strict=True)
    for place, (number, unit, position) in enumerate(told):
        key = keys.of("pump", number)
        if key is not None and stands[int(key)] == (unit, position):
            pump[place] = int(key)
    return pump


def _query(connection: duckdb.DuckDBPyConnection, name: str, incoming: pd.DataFrame) -> pd.DataFrame:
    connection.register("incoming_visits", incoming)
    answer = connection.execute(statement(name)).df()
    connection.unregister("incoming_visits")
    return answer


def _place_between(around: pd.DataFrame, pump: pd.Series) -> list[tuple[int, Question]]:
    """Visits without serial between one pump's removal and the next one's fitting: the nearer pump, asked."""
    between = around[
        around["serial"].isna() & around["removed_before"].notna() & around["fitted_after"].notna()
    ]
    since = between["visited_on"] - pd.to_datetime(between["removed_before"])
    until = pd.to_datetime(between["fitted_after"]) - between["visited_on"]
    nearer = between["pump_before"].where(since <= until, between["pump_after"])
    pump[between["place"]] = nearer.astype("int64").to_numpy()
    return [(int(place), between_pumps()) for place in between["place"]]


def _take_serials(
    connection: duckdb.DuckDBPyConnection, around: pd.DataFrame, pump: pd.Series, stamp: Stamp
) -> None:
    """A pump without a serial gets the one its visits name, if they name one only."""
    named = around[around["serial"].notna() & around["pump_without_serial"].notna()]
    if named.empty:
        return
    single = named.groupby("pump_without_serial")["serial"].agg(["nunique", "first"])
    single = single[single["nunique"] == 1]
    named = named[named["pump_without_serial"].isin(single.index)]
    pump[named["place"]] = named["pump_without_serial"].astype("int64").to_numpy()
    pairs = pd.DataFrame({"pump_id": single.index.astype("int64"), "serial": single["first"].to_numpy()})
    connection.register("named_pumps", pairs)
    connection.execute(statement("load/name_pumps"))
    connection.unregister("named_pumps")
    cells = [(str(i), "serial", None, str(s)) for i, s in pairs.itertuples(index=False)]
    log_cells(connection, "pump", cells, stamp, reason="named by its visits")


def _imply(
    connection: duckdb.DuckDBPyConnection,
    around: pd.DataFrame,
    rows: pd.DataFrame,
    pump: pd.Series,
    questions: Questions,
    stamp: Stamp,
) -> None:
    """Add one pump of unknown age for each run of visits that no recorded pump explains."""
    if around.empty:
        return
    group = composite_key(around, ("unit", "position", "serial", "removed_before", "fitted_after"))
    first = ~group.duplicated().to_numpy()
    leading = around[first]
    ends = leading["fitted_after"].notna()
    implied = pd.DataFrame(
        {
            "unit": leading["unit"].to_numpy(),
            "position": leading["position"].to_numpy(),
            "pump_type": _type_in_unit(connection, leading),
            "serial": leading["serial"].to_numpy(),
            "fitted_on": leading["removed_before"].to_numpy(),
            "removed_on": leading["fitted_after"].to_numpy(),
            "removal": ends.map({True: "other", False: None}).to_numpy(),
            "recorded_at": stamp.at,
        }
    )
    implied = insert_rows(connection, "pump", implied)
    by_group = pd.Series(implied["pump_id"].to_numpy(), index=group[first].to_numpy())
    pump[around["place"]] = by_group.loc[group].to_numpy()
    for place, (pump_id, unit, position, serial, day) in zip(
        leading["place"],
        zip(
            implied["pump_id"],
            implied["unit"],
            implied["position"],
            implied["serial"],
            leading["visited_on"],
            strict=True,
        ),
        strict=True,
    ):
        question = implied_pump(unit, position, str(as_text(day)), serial or None)
        row = int(rows["file_row"].iloc[place])
        questions.ask("pump", str(pump_id), unit, asked(_FILE, row, question))


def _type_in_unit(connection: duckdb.DuckDBPyConnection, leading: pd.DataFrame) -> np.ndarray:
    """The type of the other pumps in the same position, where they agree; else "unknown"."""
    types = connection.execute(statement("load/type_in_position")).df()
    return leading.merge(types, on=["unit", "position"], how="left")["pump_type"].fillna("unknown").to_numpy()


def merge_visits(
    connection: duckdb.DuckDBPyConnection,
    rows: pd.DataFrame,
    given: tuple[str, ...],
    stamp: Stamp,
    known: np.ndarray,
) -> Merged:
    """Merge visits that have their `pump_id` and `capture_hash`; `match_visits` says which are the same.

    known: places in the table `visit` that are known before.
    """
    given = (*given, "pump_id", "capture_hash", "odometer_entered", "odometer_unit")
    given = tuple(name for name in dict.fromkeys(given) if name in rows and name not in ("serial", "capture"))
    key = VISITS.key
    base = composite_key(rows, key)
    twice = base.duplicated(keep=False)
    if twice.any() and "state" in rows:  # prime and idle readings of one stop
        rows = rows.assign(stop_state=rows["state"].where(twice, None))
        key = (*key, "stop_state")
    place = match_visits(connection, rows, twice.to_numpy(), known)
    return merge_rows(connection, VISITS, rows, given, stamp, key=key, place=place)


def match_visits(
    connection: duckdb.DuckDBPyConnection, rows: pd.DataFrame, twice: np.ndarray, known: np.ndarray
) -> np.ndarray:
    """Return each visit's place in the table `visit`, or -1.

    By ref, else unit, position, day, pump and capture; then without the capture (it was missing before, or
    is missing now); then without the pump (the record of the pump was corrected meanwhile).
    """
    existing = connection.execute(statement("ledger/all_rows", table="visit")).df()
    if existing.empty:
        return np.full(len(rows), -1)
    existing = existing.assign(stop_state=existing["state"], ledger_place=np.arange(len(existing)))
    rows = rows.assign(stop_state=rows.get("state"))
    with_state = twice | composite_key(rows, VISITS.key).isin(_repeated(existing)).to_numpy()
    place = known.copy()
    for key in (VISITS.key, VISITS.key[:4], VISITS.key[:3]):
        for chosen, columns in ((with_state, (*key, "stop_state")), (~with_state, key)):
            todo = np.flatnonzero(chosen & (place < 0))
            free = existing[~existing["ledger_place"].isin(place[place >= 0])]
            if len(key) == 4:  # one of the two has no capture
                blank = rows["capture_hash"].iloc[todo].isna().to_numpy()
                fill_matches(place, todo[blank], free, rows, columns)
                free = free[free["capture_hash"].isna()]
                todo = todo[~blank]
            elif len(key) == 3:
                if "serial" in rows:
                    todo = todo[rows["serial"].iloc[todo].isna().to_numpy()]
                same_capture = (*columns, "capture_hash")
                fill_matches(place, todo, free, rows, same_capture)
                continue
            fill_matches(place, todo, free, rows, columns)
    return place


def _repeated(existing: pd.DataFrame) -> pd.Series:
    key = composite_key(existing, VISITS.key)
    return key[key.duplicated()]


def add_readings(
    connection: duckdb.DuckDBPyConnection,
    rows: pd.DataFrame,
    merged: Merged,
    captures: Mapping[str, CaptureResult],
    stamp: Stamp,
) -> np.ndarray:
    """Add the readings these rows bring that the ledger lacks; returns a mask of rows that gained one."""
    gained = np.zeros(len(rows), dtype=bool)
    usable = ~merged.where("duplicate")
    visit_id = merged.row_key.astype("int64")
    gained |= _add_elsewhere(connection, rows, visit_id, usable, stamp)
    gained |= _add_measured(connection, rows, visit_id, usable, captures)
    return gained


def _add_elsewhere(
    connection: duckdb.DuckDBPyConnection,
    rows: pd.DataFrame,
    visit_id: np.ndarray,
    usable: np.ndarray,
    stamp: Stamp,
) -> np.ndarray:
    names = [name for name in METRIC_NAMES if name in rows]
    has = rows[names].notna().any(axis=1).to_numpy() if names else np.zeros(len(rows), dtype=bool)
    meter = rows["meter_a"].notna().to_numpy() if "meter_a" in rows else np.zeros(len(rows), dtype=bool)
    rows_with = np.flatnonzero((has | meter) & usable)
    if not len(rows_with):
        return np.zeros(len(rows), dtype=bool)
    chosen = rows.iloc[rows_with]
    fresh = chosen[names].copy() if names else pd.DataFrame(index=chosen.index)
    if "mean_a" not in fresh:
        fresh["mean_a"] = np.nan
    only_meter = ~has[rows_with]
    if "meter_a" in chosen:
        fresh["mean_a"] = fresh["mean_a"].where(~only_meter, chosen["meter_a"])
    fresh = fresh.assign(
        visit_id=visit_id[rows_with],
        origin=np.where(only_meter, "meter", "elsewhere"),
        method_version=0,
        recorded_at=stamp.at,
        place=rows_with,
    )
    for name in METRIC_NAMES:
        if name not in fresh:
            fresh[name] = np.nan
    connection.register("fresh_readings", fresh)
    new = connection.execute(statement("load/new_readings")).df()
    connection.unregister("fresh_readings")
    gained = np.zeros(len(rows), dtype=bool)
    if len(new):
        gained[new["place"]] = True
        insert_rows(connection, "reading", new.drop(columns=["place", "old_values"]))
        corrected = new[new["old_values"].notna()]
        cells = [
            (
                str(r.visit_id),
                "reading",
                str(r.old_values),
                ", ".join(f"{n} {getattr(r, n):g}" for n in METRIC_NAMES if getattr(r, n) == getattr(r, n)),
            )
            for r in corrected.itertuples()
        ]
        log_cells(connection, "visit", cells, stamp)
    return gained


def _add_measured(
    connection: duckdb.DuckDBPyConnection,
    rows: pd.DataFrame,
    visit_id: np.ndarray,
    usable: np.ndarray,
    captures: Mapping[str, CaptureResult],
) -> np.ndarray:
    gained = np.zeros(len(rows), dtype=bool)
    if "capture" not in rows or not captures:
        return gained
    have = {(v, h) for v, h in connection.execute(statement("load/readings_of_captures")).fetchall()}
    measured: list[tuple[int, str, Reading]] = []
    for place in np.flatnonzero(rows["capture"].notna().to_numpy() & usable):
        result = captures.get(rows["capture"].iloc[place])
        if result is None or result.reading is None or result.capture_hash is None:
            continue
        key = (int(visit_id[place]), result.capture_hash)
        if key in have:
            continue
        have.add(key)
        if result.stored is not None and result.about is not None:
            insert_capture(connection, result.about, result.stored)
        measured.append((*key, result.reading))
        gained[place] = True
    insert_readings(connection, measured)
    return gained
