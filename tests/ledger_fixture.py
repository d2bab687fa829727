"""A small hand-made ledger: eight units, two depots, three pump types, five visits a pump, one failure.

`build_ledger(path)` writes it; the figures are invented and smooth, so that tests can state what a page must
show. Unit 101's pump draws more and slows down visit by visit; unit 104 has failed once.
"""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import numpy as np

from ingest.capture import Capture
from ingest.ledger.connection import open_ledger

FIRST_VISIT = date(2025, 1, 6)
LAST_VISIT = FIRST_VISIT + timedelta(days=90 * 4)
KM_A_VISIT = 9000.0
UNITS = ("101", "102", "103", "104", "105", "106", "007", "7")


def build_ledger(path: Path) -> Path:
    """Write the ledger at `path` and return it."""
    with open_ledger(path, read_only=False) as con:
        con.execute("BEGIN")
        for i, unit in enumerate(UNITS):
            con.execute(
                "INSERT INTO vehicle (unit, year, make, model, engine, class, depot, in_service_on,"
                " pm_interval_km, pm_interval_days, job_hours, recorded_at)"
                " VALUES (?, 2021, 'Alder', ?, '3.0 L', ?, ?, DATE '2021-03-01', 9000, 90, 2.5, now())",
                [
                    unit,
                    "Carrier" if i % 2 else "Runner",
                    "ambulance" if i == 2 else "van",
                    "North" if i < 4 else "South",
                ],
            )
        for name, low, high, supply in (
            ("FP-10", 4.0, 7.0, "direct"),
            ("FP-20", 3.0, 6.0, "direct"),
            ("FP-30", 4.0, 8.0, "pwm"),
        ):
            con.execute(
                "INSERT INTO pump_type (pump_type, supply, fuel, segments, current_low_a, current_high_a,"
                " spec_at_v, ripple_limit_pct, rpm_low, rpm_high, rated_pressure_kpa, filter, lead_time_days,"
                " price, warranty_months, recorded_at)"
                " VALUES (?, ?, 'petrol', 8, ?, ?, 13.5, 15, 3400, 10000, 400, 'module', 4, 210, 24, now())",
                [name, supply, low, high],
            )
        for i, unit in enumerate(UNITS):
            _add_pump(con, unit, ("FP-10", "FP-20", "FP-30")[i % 3], i)
        con.execute(
            "INSERT INTO service (unit, done_on, odometer_km, work, note, recorded_at)"
            " VALUES ('101', ?, 108000, 'filter', 'inline filter', now())",
            [FIRST_VISIT + timedelta(days=180)],
        )
        con.execute(
            "INSERT INTO breakdown (unit, position, happened_on, odometer_km, pump_confirmed, cost, note,"
            " recorded_at) VALUES ('104', 'main', DATE '2024-11-20', 98000, 'yes', 2310, 'towed', now())"
        )
        con.execute(
            "INSERT INTO question (raised_at, table_name, row_key, unit, field, code, text)"
            " VALUES (now(), 'visit', '3', '101', 'odometer', 'odometer-slow',"
            " 'Unit 101 drove far less than usual before 2025-07-05: is 108,000 km right?')"
        )
        con.execute(
            "INSERT INTO connection_note (make, model, clamp_point, fuse, access, note, recorded_at)"
            " VALUES ('Alder', 'Runner', 'grey wire behind the left seat', 'F12, 20 A', 'left seat panel',"
            " 'two clips', now())"
        )
        con.execute("INSERT INTO stock VALUES ('North', 'FP-10', 1, NULL, now())")
        con.execute("INSERT INTO bay_hours VALUES ('North', NULL, 16, NULL, now())")
        con.execute("INSERT INTO bay_hours VALUES ('South', NULL, 16, NULL, now())")
        con.execute(
            "INSERT INTO cost_entry (element, amount, currency, source, recorded_at)"
            " VALUES ('planned_replacement', 650, 'USD', 'placeholder', now()),"
            " ('failure_replacement', 2400, 'USD', 'placeholder', now())"
        )
        con.execute("COMMIT")
    return path


def _add_pump(con, unit: str, pump_type: str, i: int) -> None:
    fitted = date(2021, 3, 1)
    if unit == "104":
        con.execute(
            "INSERT INTO pump (unit, pump_type, serial, fitted_on, fitted_odometer_km, removed_on,"
            " removed_odometer_km, removal, found, cost, recorded_at)"
            " VALUES ('104', ?, 'A-104', ?, 0, DATE '2024-11-20', 98000, 'failed', 'worn', 2310, now())",
            [pump_type, fitted],
        )
        fitted = date(2024, 11, 20)
    fitted_km = 98000.0 if unit == "104" else 0.0
    con.execute(
        "INSERT INTO pump (unit, pump_type, serial, fitted_on, fitted_odometer_km, recorded_at)"
        " VALUES (?, ?, ?, ?, ?, now())",
        [unit, pump_type, f"S-{unit}", fitted, fitted_km],
    )
    (pump_id,) = con.execute("SELECT max(pump_id) FROM pump").fetchall()[0]
    for k in range(5):
        worsening = k if unit == "101" else 0
        mean_a = 5.2 + 0.1 * i + 0.3 * worsening
        con.execute(
            "INSERT INTO visit (unit, pump_id, visited_on, odometer_km, odometer_entered, odometer_unit,"
            " reason, state, supply_v, fuel_temp_c, fuel_pressure_kpa, fuel_level_pct, technician, note,"
            " recorded_at)"
            " VALUES (?, ?, ?, ?, ?, 'km', 'pm', 'idle', 13.5, 22, 400, 60, 'TK', ?, now())",
            [
                unit,
                pump_id,
                FIRST_VISIT + timedelta(days=90 * k),
                99000 + KM_A_VISIT * k,
                99000 + KM_A_VISIT * k,
                "hums at idle" if worsening == 3 else None,
            ],
        )
        (visit_id,) = con.execute("SELECT max(visit_id) FROM visit").fetchall()[0]
        rpm = 6100.0 - 260 * worsening
        con.execute(
            "INSERT INTO reading (visit_id, origin, method_version, mean_a, mean_a_se, min_a, max_a,"
            " ripple_a, ripple_pct, revolution_ms, rpm, rpm_se, segments, speed_confidence,"
            " segment_profile_pct,"
            " recorded_at) VALUES (?, 'elsewhere', 1, ?, 0.02, ?, ?, ?, ?, ?, ?, 6, 8, 0.99, ?, now())",
            [
                visit_id,
                mean_a,
                mean_a - 0.3,
                mean_a + 0.35,
                mean_a * 0.09,
                9.0 + worsening,
                60000 / rpm,
                rpm,
                [9.0, 9.1, 8.9, 9.0 - 0.8 * worsening, 9.2, 8.8, 9.0, 9.1],
            ],
        )


def small_capture(*, rpm: float = 6000.0, mean_a: float = 5.0, seconds: float = 0.5) -> Capture:
    """Return a capture with 8 humps a turn, one lower than the rest: enough for a page to draw."""
    rate = 50_000.0
    t = np.arange(int(seconds * rate)) / rate
    turn = (t * rpm / 60) % 1
    hump = np.abs(np.sin(np.pi * 8 * turn))
    low = np.where((turn * 8).astype(int) == 3, 0.6, 1.0)
    current = mean_a * (0.95 + 0.1 * hump * low) + np.random.default_rng(5).normal(0, 0.01, len(t))
    return Capture(current_a=current, sample_rate_hz=rate, source="small.csv", channel="current")


def write_capture_csv(path: Path, capture: Capture) -> Path:
    """Write `capture` as time,current text and return the path."""
    t = np.arange(len(capture.current_a)) / capture.sample_rate_hz
    np.savetxt(
        path,
        np.column_stack([t, capture.current_a]),
        delimiter=",",
        header="Time (s),Current (A)",
        comments="",
        fmt="%.6f",
    )
    return path
