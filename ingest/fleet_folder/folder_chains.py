"""The captures that a fleet folder names, as chains: a pump's visits in order, with what is known of it."""

from __future__ import annotations

import re
from bisect import bisect_left
from dataclasses import fields, replace
from pathlib import Path
from typing import Any, cast

import pandas as pd

from ingest.chains.chain import Chain, Link, Work
from ingest.fleet_folder.storing import Folder, position_of
from ingest.fleet_folder.tables import CLAMPS, PUMP_TYPES, PUMPS, VISITS
from ingest.known_pump import TOLD, KnownPump
from ingest.ledger.clamps import Clamp, clamps, read_as
from ingest.ledger.connection import open_ledger
from ingest.ledger.settings import settings_at
from ingest.ledger.statements import statement
from ingest.ledger.waveform_home import refuse_other
from ingest.settings_in_force import Settings
from ingest.trade_numbers import DEFAULTS
from ingest.waveforms import waveform_folder

Lives = dict[
    tuple[str, str], list[pd.Timestamp]
]  # by unit and position: the days a pump was fitted, in order


def chains_of(ledger: Path, folder: Path, content: Folder, *, store: bool) -> tuple[list[Chain], Work]:
    """Return the chains of all captures that the folder's visits name, and what their measuring shares.

    store=False keeps no waveform (a dry run). A pump's chain begins at its fitting, as far as the folder or
    the ledger tells it; speeds that the folder gives, or the ledger has, stand in it unmeasured.
    """
    visits = content.tables.get(VISITS.file)
    if visits is None or "capture" not in visits.rows or not visits.rows["capture"].notna().any():
        return [], Work()
    known: dict[str, float | None] = {}
    settings = DEFAULTS
    fitted: list[tuple[str, str, Any]] = []
    in_ledger: list[dict] = []
    on_record: dict[str, Clamp] = {}
    if ledger.exists():
        with open_ledger(ledger) as connection:
            refuse_other(connection, ledger)
            settings = settings_at(connection)
            known = dict(connection.execute(statement("load/captures_read")).fetchall())
            fitted = connection.execute(statement("load/fittings")).fetchall()
            in_ledger = connection.execute(statement("load/known_types")).df().to_dict("records")
            on_record = clamps(connection)
    rows = visits.rows
    wanted = rows["capture"].notna()
    if "rpm" in rows:
        wanted |= rows["rpm"].notna()
    rows = rows[wanted]
    rows = rows[rows["capture"].isna() | ~rows["capture"].duplicated()].reset_index(drop=True)
    rows = rows.sort_values("visited_on", kind="stable")
    links = [
        Link(name, None if path is None else _inside(folder / "captures", path), pump, rpm=rpm, **how)
        for (name, path, rpm), pump, how in zip(
            _told_of(rows),
            _known_pumps(content, rows, cast(Settings, settings | content.fleet.settings), in_ledger),
            _how_to_read(rows, _with_folders_clamps(on_record, content)),
            strict=True,
        )
    ]
    grouped: dict[str, list[Link]] = {}
    for name, link in zip(_pump_names(rows, _lives(content, fitted)), links, strict=True):
        grouped.setdefault(name, []).append(link)
    chains = [Chain(name, tuple(of_pump)) for name, of_pump in grouped.items()]
    return [chain for chain in chains if chain.to_measure], Work(
        waveform_folder(ledger) if store else None, known
    )


def _told_of(rows: pd.DataFrame) -> list[tuple[str, str | None, float | None]]:
    """Return of each visit the link's name, the capture and the speed that the folder gives."""
    speeds = rows["rpm"] if "rpm" in rows else pd.Series(float("nan"), index=rows.index)
    return [
        (capture, capture, None)
        if isinstance(capture, str)
        else (f"visit {number}", None, None if speed != speed else float(speed))
        for number, capture, speed in zip(rows.index, rows["capture"], speeds, strict=True)
    ]


def _pump_names(rows: pd.DataFrame, lives: Lives) -> list[str]:
    """Return of each visit a name for its pump: by serial where one is given, else by the days of fitting.

    A visit without serial on the day of a fitting is of the pump that came off.
    """
    serials = rows["serial"] if "serial" in rows else pd.Series(None, index=rows.index)
    names = []
    for unit, position, serial, day in zip(
        rows["unit"], position_of(rows), serials, rows["visited_on"], strict=True
    ):
        life = bisect_left(lives.get((unit, position), []), day)
        names.append(f"{unit}/{position}/{f'serial {serial}' if isinstance(serial, str) else life}")
    return names


def _lives(content: Folder, fitted: list[tuple[str, str, Any]]) -> Lives:
    days: dict[tuple[str, str], set[pd.Timestamp]] = {}
    for unit, position, day in fitted:
        days.setdefault((unit, position), set()).add(pd.Timestamp(day))
    pumps = content.tables.get(PUMPS.file)
    if pumps is not None and "fitted_on" in pumps.rows:
        rows = pumps.rows
        for unit, position, day in zip(rows["unit"], position_of(rows), rows["fitted_on"], strict=True):
            if day == day and day is not None:
                days.setdefault((unit, position), set()).add(pd.Timestamp(day))
    return {place: sorted(found) for place, found in days.items()}


def _inside(folder: Path, name: str) -> Path:
    """The file `name` in `folder`, however its way is written; what leads out is taken by its last part."""
    name = re.sub(r"^(\./)?captures/", "", name.replace("\\", "/"))
    path = folder / name
    return path if path.resolve().is_relative_to(folder.resolve()) else folder / Path(name).name


def _known_pumps(
    content: Folder, visits: pd.DataFrame, settings: Settings, in_ledger: list[dict]
) -> list[KnownPump]:
    """What is told of the pump at each visit: of its type, where the position has had one, else the fleet's
    usual band, and how it was run."""
    usual = {"rpm_low": settings["rpm_low"], "rpm_high": settings["rpm_high"]}
    of_types = _types_of(content, visits, in_ledger)
    of_visits = visits.reindex(columns=[*TOLD, "state", "supply_v", "commanded", "duty_pct"]).to_dict(
        "records"
    )
    return [
        KnownPump(**usual | _told(of_type) | _told(of_visit))
        for of_type, of_visit in zip(of_types, of_visits, strict=True)
    ]


def _told(row: dict) -> dict:
    facts = {f.name for f in fields(KnownPump)}
    told = {k: v for k, v in row.items() if k in facts and v is not None and v == v}
    return told | {name: int(told[name]) for name in ("segments", "poles") if name in told}


def _how_to_read(visits: pd.DataFrame, known: dict[str, Clamp]) -> list[dict]:
    """Probe and channel of each visit: what it names, else what its clamp is known by."""
    out = []
    for row in visits.reindex(columns=["probe", "channel", "clamp"]).to_dict("records"):
        named = [row[name] if isinstance(row[name], str) else None for name in ("probe", "channel")]
        probe, channel = read_as(known.get(row["clamp"]), *named)
        told = {"probe": probe, "channel": channel}
        out.append({name: value for name, value in told.items() if value})
    return out


def _with_folders_clamps(on_record: dict[str, Clamp], content: Folder) -> dict[str, Clamp]:
    """Return each clamp's factor and channel: as the ledger has them, and as the folder does."""
    known = dict(on_record)
    read = content.tables.get(CLAMPS.file)
    for row in () if read is None else read.rows.to_dict("records"):
        told = {k: row[k] for k in ("factor", "channel") if isinstance(row.get(k), str)}
        known[row["clamp"]] = replace(known.get(row["clamp"], Clamp(row["clamp"])), **told)
    return known


def _types_of(content: Folder, visits: pd.DataFrame, in_ledger: list[dict]) -> list[dict]:
    """Return what is known of the pump type at each visit, where the position has had one type, else nothing.

    in_ledger: of each position's pumps there, the type and its facts; what the folder says goes before them.
    """
    by_place: dict[tuple, set] = {}
    facts: dict[str, dict] = {}
    for row in in_ledger:
        by_place.setdefault((row["unit"], row["position"]), set()).add(row["pump_type"])
        facts[row["pump_type"]] = _told(row)
    for unit, position, pump_type in _types_in_folder(content):
        by_place.setdefault((unit, position), set()).add(pump_type)
    if (types := content.tables.get(PUMP_TYPES.file)) is not None:
        for row in types.rows.to_dict("records"):
            facts[row["pump_type"]] = facts.get(row["pump_type"], {}) | _told(row)
    out = []
    for unit, position in zip(visits["unit"], position_of(visits), strict=True):
        names = by_place.get((unit, position), set()) - {"unknown"}
        out.append(facts.get(next(iter(names)), {}) if len(names) == 1 else {})
    return out


def _types_in_folder(content: Folder) -> list[tuple[str, str, str]]:
    """Return unit, position and type of each pump that the folder gives a type."""
    pumps = content.tables.get(PUMPS.file)
    if pumps is None or "pump_type" not in pumps.rows:
        return []
    rows = pumps.rows[pumps.rows["pump_type"].notna()]
    return list(zip(rows["unit"], position_of(rows), rows["pump_type"], strict=True))
