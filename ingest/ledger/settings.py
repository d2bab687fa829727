"""Editable defaults: every number that alters a figure and is not a fact about a vehicle.

A dated row of the ledger's `setting` table overrides a default (latest `valid_from` up to the day, then
latest `recorded_at`). Marks: [P] common practice, no source found.
"""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

import duckdb

from ingest.durable import utc_now
from ingest.errors import EntryRefused
from ingest.ledger.changes import log_change

DEFAULTS: dict[str, Any] = {
    "distance_unit": "mi",  # how distances are shown; stored in km always
    "currency": "USD",
    "records_are": "real",  # "invented" for a demo fleet: then no figure passes for evidence
    "reference_supply_v": 13.5,
    "ripple_limit_pct": 15.0,  # [P]
    "few_sparks_per_s": 2.0,  # up to here the plain (highest - lowest) is taken for ripple if need be [P]
    "rpm_low": 3400.0,  # [P]
    "rpm_high": 10000.0,  # [P]
    "drop_supply_limit_v": 0.5,  # [W] several public pages, no measurements
    "drop_ground_limit_v": 0.1,  # [W]
    "low_supply_v": 12.0,  # below this at the pump, engine running, volts are in question [P]
    "low_supply_prime_v": 11.0,  # the same on a key-on prime, nothing charging [P]
    "low_fuel_level_pct": 25.0,  # [W] below a quarter tank the pump runs hot
    "min_delivery_l_min": 1.0,  # [P]
    "near_limit_share": 0.15,  # outer share of the specified band that counts as near its end [P]
    "very_low_share": 0.5,  # of the specified low end [P]
    "dead_a": 0.2,  # no pump runs on less [P]
    "baseline_change_pct": 5.0,  # smallest change of current from own baseline that counts as a direction [P]
    "baseline_speed_pct": 3.0,  # the same of speed, which a load moves a third as far as current [P]
    "baseline_far_pct": 10.0,  # change from own baseline that counts as far [P]
    "baseline_visits": 3,  # first healthy readings that make the baseline
    "baseline_new_km": 800.0,  # first reading within this of fitting: a new pump's baseline
    "baseline_bedding_km": 5000.0,  # until here brushes may still bed in [P]
    "type_far_pct": 25.0,  # from pumps of the same type, where no specification is known, that counts [P]
    "type_pumps": 5,  # fewer pumps of a type make no level to be held against [P]
    "steps_valid_days": 60,  # how long a passed circuit or filter check counts for a booking [P]
    "clamp_accuracy_pct": 2.0,  # where the clamp is not known by name [P]
    "clamp_accuracy_a": 0.05,  # [P]
    "clamps": {},  # accuracy by a clamp's name: {"blue": {"pct": 1.0, "a": 0.02}}
    "next_capture_days": 183,  # where a unit has no interval of its own: 6 months [S public fleet documents]
    "next_capture_km": 12_070.0,  # and 7,500 miles [S public fleet documents]
    "probe_factor_ratio": 10.0,
    "idle_hour_miles": 29.0,  # 25-33 mi per idle hour [P]
    "planned_replacement": 650.0,  # placeholder until confirmed
    "failure_replacement": 2400.0,  # placeholder until confirmed
    "plan_horizon_days": 120,  # how far ahead replacements are booked
    "plan_retirement_days": 180,  # no change this close to retirement [P]
    "plan_shared_share": 0.5,  # of the hours, that a further pump at the same stop saves [P]
    "plan_service_level": 0.95,  # chance that no part is missing in a lead time [P]
    "plan_extra_stop_hours": 1.0,  # of labour, for a stop made for the pump alone [P]
    "risk_ceiling": {"ambulance": 0.05, "school bus": 0.05},  # by vehicle class, overrides cost
}


def settings_at(connection: duckdb.DuckDBPyConnection, on: date | None = None) -> dict[str, Any]:
    """Return all settings in force on `on` (default: latest), defaults filled in."""
    return DEFAULTS | settings_chosen(connection, on)


def settings_chosen(connection: duckdb.DuckDBPyConnection, on: date | None = None) -> dict[str, Any]:
    """Return only what this fleet has set itself, as in force on `on`."""
    rows = connection.execute(
        "SELECT key, value FROM setting WHERE valid_from <= coalesce(?, DATE '9999-12-31')"
        " ORDER BY valid_from, recorded_at",
        [on],
    ).fetchall()
    return {key: json.loads(value) for key, value in rows}


def set_setting(
    ledger: Path | str,
    key: str,
    value: Any,
    *,
    by: str,
    reason: str,
    valid_from: date = date(1900, 1, 1),
    command: str | None = None,
) -> None:
    """Set one setting from a day on, with a line in the change log; earlier days keep what held.

    Raises EntryRefused for a key that does not exist or a value of another kind than its default.
    """
    from ingest.ledger.connection import open_ledger

    if key not in DEFAULTS:
        raise EntryRefused("unknown-setting", f"There is no setting '{key}'.")
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if not isinstance(value, type(DEFAULTS[key])) and not (number and isinstance(DEFAULTS[key], int | float)):
        kind = "a number" if isinstance(DEFAULTS[key], int | float) else type(DEFAULTS[key]).__name__
        raise EntryRefused("bad-setting", f"{key}: '{value}' is not {kind}.")
    with open_ledger(ledger, read_only=False) as connection:
        connection.execute("BEGIN")
        before = settings_chosen(connection, valid_from).get(key)
        connection.execute(
            "INSERT INTO setting (key, value, valid_from, set_by, recorded_at) VALUES (?, ?, ?, ?, ?)",
            [key, json.dumps(value), valid_from, by, utc_now()],
        )
        log_change(
            connection,
            "setting",
            key,
            "value",
            None if before is None else json.dumps(before),
            json.dumps(value),
            by=by,
            reason=reason,
            command=command,
        )
        connection.execute("COMMIT")
