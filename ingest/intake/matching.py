"""Which unit a capture file is of: its sidecar says so, else a unit's number or a pump's serial in its name.

A sidecar is `NAME.json` beside NAME.csv with columns of visits.csv as keys, or a table `visits.csv` in the
folder whose column `capture` names the file. Only one unit that is on record is taken; a file whose name has
two, or none, waits.
"""

from __future__ import annotations

import json
import re
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from typing import Any

from ingest.dates import read_day
from ingest.errors import EntryRefused
from ingest.fleet_folder.one_fact import read_facts
from ingest.fleet_folder.sheets import find_sheet, read_sheet
from ingest.fleet_folder.tables import VISITS, column_meant
from ingest.harmless import as_file_name
from ingest.units import read_quantity

TABLE = VISITS.file
_VEHICLE = r"(?:van|unit|bus|truck|lorry|car|vehicle|veh)#?(\d+)"
_FIELDS = ("unit", "position", "serial", "day", "clamp")


@dataclass(frozen=True)
class Place:
    """One pump in service: unit, position, serial (None: unknown)."""

    unit: str
    position: str
    serial: str | None


@dataclass(frozen=True)
class Match:
    """What is told of a file. `entry`: its sidecar's column of visit -> value; `reason`: why it waits."""

    unit: str | None = None
    position: str | None = None
    matched_by: str | None = None
    reason: str = ""
    day: date | None = None
    clamp: str | None = None
    entry: Mapping[str, Any] = field(default_factory=dict)


def match(
    name: str,
    sidecar: Mapping[str, Any],
    places: Iterable[Place],
    rule: str = "",
    without_pump: Collection[str] = (),
) -> Match:
    """Return the unit a file is of, or why it can't be told.

    places: pumps in service; without_pump: units that have none, which can only be named as the reason.
    sidecar: as `sidecars` reads it. rule: how names are built, such as {unit}_{day}_{clamp}; "": a unit's
    number or a serial that stands in the name by itself.
    """
    known = list(places)
    parts = _parts(name, rule)
    day = sidecar.get("visited_on") or _day(parts.get("day", "") or name)
    told = Match(day=day, entry=sidecar, clamp=sidecar.get("clamp") or parts.get("clamp"))
    position = sidecar.get("position") or parts.get("position")
    unit = sidecar.get("unit")
    if unit:
        return _checked(str(unit), position, "sidecar", known, told)
    if parts.get("unit"):
        return _checked(parts["unit"], position, "name", known, told)
    words = _words(name)
    serial = sidecar.get("serial") or parts.get("serial")
    serials = [p for p in known if p.serial and (p.serial == serial if serial else p.serial in words)]
    if len(serials) == 1:
        one = serials[0]
        return replace(told, unit=one.unit, position=one.position, matched_by="serial")
    units = sorted({place.unit for place in known if place.unit in words})
    if len(units) == 1:
        return _checked(units[0], position, "name", known, told)
    if units:
        return replace(told, reason=f"Its name has the numbers of units {' and '.join(units)}.")
    if bare := sorted(set(without_pump) & words):
        why = f"Unit {bare[0]}, which its name names, has no pump in service on record; add its pump."
        return replace(told, reason=why)
    return replace(told, reason="Neither its name nor a sidecar tells the unit.")


def _checked(unit: str, position: Any, by: str, known: list[Place], told: Match) -> Match:
    positions = [place.position for place in known if place.unit == unit]
    if not positions:
        why = f"Unit {unit}, which its {by} names, has no pump in service on record."
        return replace(told, reason=why)
    told = replace(told, unit=unit, matched_by=by)
    if position and position not in positions:
        return replace(told, reason=f"Unit {unit} has no pump in position {position}.")
    if not position and len(positions) > 1 and "main" not in positions:
        return replace(told, reason=f"Unit {unit} has pumps in {', '.join(positions)}.")
    return replace(told, position=str(position) if position else None)


def name_rule(rule: str) -> re.Pattern[str]:
    """Return what takes a name of this rule apart; EntryRefused for one that names anything else."""
    pieces = re.split(r"\{(\w+)\}", rule)
    for wanted in pieces[1::2]:
        if wanted not in _FIELDS or pieces[1::2].count(wanted) > 1:
            fields = ", ".join(f"{{{name}}}" for name in _FIELDS)
            raise EntryRefused(
                "name-rule", f"capture_name_rule: {{{wanted}}} is not one of {fields}, once each."
            )
    pattern = "".join(
        f"(?P<{piece}>.+?)" if place % 2 else re.escape(piece) for place, piece in enumerate(pieces)
    )
    return re.compile(pattern + r"(?:[ _.-].*)?")


def _parts(name: str, rule: str) -> dict[str, str]:
    if not rule:
        return {}
    found = name_rule(rule).fullmatch(Path(name).stem)
    return {k: v for k, v in found.groupdict().items() if v} if found else {}


def _words(name: str) -> set[str]:
    """Return the words of a name, what two or three of them joined by a hyphen or underscore make, and the
    number behind a word for a vehicle (van11)."""
    stem = Path(name).stem
    words = [word for word in re.split(r"[\s_.,()+-]+", stem) if word]
    whole = {stem, *words}
    for size in (2, 3):
        for at in range(len(words) - size + 1):
            whole |= {joint.join(words[at : at + size]) for joint in "-_ ."}
    whole |= {number[1] for word in words if (number := re.fullmatch(_VEHICLE, word, re.IGNORECASE))}
    return {word for word in whole if not re.fullmatch(r"20\d{2}[01]\d[0-3]\d", word)}


def _day(text: str) -> date | None:
    found = re.search(r"(?<!\d)(20\d{2})[-_.]?([01]\d)[-_.]?([0-3]\d)(?!\d)", text)
    if not found:
        return None
    try:
        return read_day("-".join(found.groups()))
    except EntryRefused:
        return None


def sidecars(folder: Path, distance_unit: str) -> tuple[dict[str, dict[str, Any]], dict[str, str]]:
    """Return what the table visits.csv of a folder says of its captures (ledger column -> value), and what is
    wrong with a row, both by file name."""
    found = find_sheet(folder, TABLE)
    if found is None:
        return {}, {}
    try:
        read = read_sheet(found[0], TABLE, found[1])
    except EntryRefused:
        return {}, {}
    named = {name: column_meant(name, VISITS) for name in read.header}
    capture = next((name for name, meant in named.items() if meant == "capture"), None)
    told: dict[str, dict[str, Any]] = {}
    wrong: dict[str, str] = {}
    for row in read.cells.to_dict("records") if capture else ():
        file = Path(str(row[capture])).name
        try:
            told[file] = _facts({named[str(k)]: v for k, v in row.items() if str(k) in named}, distance_unit)
        except EntryRefused as refused:
            wrong[file] = f"{TABLE}: {refused.text}"
    return told, wrong


def sidecar(path: Path, distance_unit: str) -> dict[str, Any]:
    """Return what NAME.json beside a file says (column of visit -> value), {} without one."""
    beside = path.with_suffix(".json")
    if not beside.exists():
        return {}
    try:
        said = json.loads(beside.read_bytes())
    except (ValueError, OSError, RecursionError) as error:
        raise EntryRefused(
            "bad-sidecar", f"{as_file_name(beside.name)} is no JSON; mend or remove it."
        ) from error
    if not isinstance(said, dict):
        raise EntryRefused(
            "bad-sidecar", f"{as_file_name(beside.name)} is no JSON object of visits.csv's columns."
        )
    return _facts({column_meant(str(name), VISITS): value for name, value in said.items()}, distance_unit)


def _facts(said: Mapping[str, Any], distance_unit: str) -> dict[str, Any]:
    typed = {name: "" if value is None else str(value) for name, value in said.items()}
    typed = {name: text for name, text in typed.items() if text.strip() and name != "capture"}
    told = {k: v for k, v in read_facts(VISITS, typed, distance_unit).items() if v is not None}
    if "odometer_km" in told:  # kept as it was written
        read = read_quantity(typed["odometer"], "distance", default_unit=distance_unit, field="odometer")
        told |= {"odometer_entered": read.entered, "odometer_unit": read.unit}
    return told
