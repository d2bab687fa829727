"""What the ledger knows of a pump before its capture is measured."""

from __future__ import annotations

import math
from datetime import date
from typing import Any

import duckdb
import numpy as np

from ingest.ledger.statements import statement
from ingest.sensitivities import log_volts_ratio, sensitivities

_NO_VISIT = 2**62


def measuring_context(
    connection: duckdb.DuckDBPyConnection,
    pump_id: int | None,
    visited_on: date,
    *,
    state: str | None = None,
    supply_v: float | None = None,
    before_visit_id: int = _NO_VISIT,
) -> dict[str, Any]:
    """Return keyword arguments for `measure`: segments, previous_rpm, rpm_low, rpm_high, supply, motor.

    previous_rpm is the pump's last speed in the same engine state, scaled to today's volts where both are
    known (nominal exponent). Empty for a pump the ledger doesn't know.
    """
    rows = connection.execute(
        statement("visit/measuring_context"),
        {
            "pump_id": pump_id,
            "visited_on": visited_on,
            "state": state,
            "before_visit_id": before_visit_id,
        },
    ).fetchall()
    if not rows:
        return {}
    segments, rpm_low, rpm_high, supply, motor, previous_rpm, previous_v = rows[0]
    if previous_rpm is not None and supply_v is not None and previous_v is not None:
        volts = np.array([supply_v])
        previous_rpm *= math.exp(sensitivities().speed_volts * log_volts_ratio(volts, previous_v)[0])
    return {
        "segments": segments,
        "previous_rpm": previous_rpm,
        "rpm_low": rpm_low,
        "rpm_high": rpm_high,
        "supply": supply,
        "motor": motor,
    }
