"""What the ledger knows of a pump before its capture is measured."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import Any

import duckdb

from ingest.known_pump import TOLD, KnownPump
from ingest.last_speed import outweighed, speed_too_far
from ingest.ledger.settings import settings_at
from ingest.ledger.statements import statement
from ingest.wording.stored import notes_from


def measuring_context(
    connection: duckdb.DuckDBPyConnection,
    pump_id: int | None,
    visited_on: date,
    *,
    state: str | None = None,
    supply_v: float | None = None,
    commanded: str | None = None,
    duty_pct: float | None = None,
    told: Mapping[str, Any] | None = None,
) -> KnownPump:
    """Return what the ledger knows of the pump; of one it doesn't hold, only the fleet's usual band.

    Its last speed is that of the last visit in the same engine state, unless captures since outweigh it (see
    `ingest.last_speed`); its band is its type's, else the fleet's of that day. told: TOLD as told at the
    visit, which go before its type's.
    """
    usual = settings_at(connection, visited_on)
    band = KnownPump(rpm_low=usual["rpm_low"], rpm_high=usual["rpm_high"])
    rows = connection.execute(
        statement("visit/measuring_context"),
        {
            "pump_id": pump_id,
            "visited_on": visited_on,
            "state": state,
        }
        | {name: (told or {}).get(name) for name in TOLD},
    ).fetchall()
    if not rows:
        known = {name: value for name, value in (told or {}).items() if name in TOLD and value is not None}
        return replace(band, **known)
    segments, poles, rpm_low, rpm_high, supply, motor, previous_rpm, previous_v, told_on, told_at = rows[0]
    if previous_rpm is not None:
        since = {"pump_id": pump_id, "visited_on": visited_on, "state": state}
        since |= {"told_on": told_on, "told_at": told_at}
        untold = connection.execute(statement("visit/untold_since"), since).fetchall()
        if outweighed(speed_too_far(notes_from(notes)) for (notes,) in untold):
            previous_rpm = previous_v = None
    return replace(
        band,
        segments=segments,
        poles=poles,
        motor=motor,
        supply=supply,
        commanded=commanded,
        duty_pct=duty_pct,
        state=state,
        rpm_low=rpm_low or band.rpm_low,
        rpm_high=rpm_high or band.rpm_high,
        previous_rpm=previous_rpm,
        previous_supply_v=previous_v,
        supply_v=supply_v,
    )
