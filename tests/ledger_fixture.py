"""A small hand-made ledger: eight units, two depots, three pump types, five visits a pump, one failure.

`build_ledger(path)` writes it; the figures are invented and smooth, so that tests can state what a page must
show. Unit 101's pump draws more and slows down visit by visit; unit 104 has failed once.
"""

from __future__ import annotations

import atexit
import shutil
import tempfile
from datetime import date, timedelta
from functools import cache
from pathlib import Path

import numpy as np

from ingest.capture import Capture
from ingest.errors import Question
from ingest.ledger.connection import open_ledger
from ingest.ledger.questions import raise_question
from ingest.ledger.rows import insert_row

FIRST_VISIT = date(2025, 1, 6)
LAST_VISIT = FIRST_VISIT + timedelta(days=90 * 4)
KM_A_VISIT = 9000.0
UNITS = ("101", "102", "103", "104", "105", "106", "007", "7")


def build_ledger(path: Path, *, fitted: bool = False) -> Path:
    """Write the ledger at `path` and return it: built once in this process, then copied.

    fitted: with the fit stored that whoever first asks for a risk would make, for tests of what comes after.
    """
    shutil.copyfile(_fitted() if fitted else _built(), path)
    return path


@cache
def _fitted() -> Path:
    from analytics.learning.fitting import fit

    path = _built().with_name("fitted.duckdb")
    shutil.copyfile(_built(), path)
    fit(path)
    return path


@cache
def _built() -> Path:
    folder = tempfile.mkdtemp()
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    path = Path(folder) / "fleet.duckdb"
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
        service = {"unit": "101", "odometer_km": 108000, "work": "filter", "note": "inline filter"}
        insert_row(con, "service", service | {"done_on": FIRST_VISIT + timedelta(days=180)})
        breakdown = {"unit": "104", "position": "main", "odometer_km": 98000, "pump_confirmed": "yes"}
        breakdown |= {"happened_on": date(2024, 11, 20), "cost": 2310, "note": "towed"}
        insert_row(con, "breakdown", breakdown)
        text = "Unit 101 drove far less than usual before 2025-07-05: is 108,000 km right?"
        raise_question(con, "visit", "3", Question("odometer", "odometer-slow", text), unit="101")
        note = {"make": "Alder", "model": "Runner", "clamp_point": "grey wire behind the left seat"}
        note |= {"fuse": "F12, 20 A", "access": "left seat panel", "note": "two clips"}
        insert_row(con, "connection_note", note)
        con.execute("INSERT INTO stock VALUES ('North', 'FP-10', 1, NULL, now())")
        con.execute("INSERT INTO bay_hours VALUES ('North', NULL, 16, NULL, now())")
        con.execute("INSERT INTO bay_hours VALUES ('South', NULL, 16, NULL, now())")
        for element, amount in (("planned_replacement", 650), ("failure_replacement", 2400)):
            price = {"element": element, "amount": amount, "currency": "USD", "source": "placeholder"}
            insert_row(con, "cost_entry", price)
        con.execute("COMMIT")
    return path


def _add_pump(con, unit: str, pump_type: str, i: int) -> None:
    fitted = date(2021, 3, 1)
    if unit == "104":
        old = {"unit": "104", "pump_type": pump_type, "serial": "A-104", "fitted_on": fitted}
        old |= {"fitted_odometer_km": 0, "removed_on": date(2024, 11, 20), "removed_odometer_km": 98000}
        insert_row(con, "pump", old | {"removal": "failed", "found": "worn", "cost": 2310})
        fitted = date(2024, 11, 20)
    fitted_km = 98000.0 if unit == "104" else 0.0
    pump = {"unit": unit, "pump_type": pump_type, "serial": f"S-{unit}", "fitted_on": fitted}
    pump_id = insert_row(con, "pump", pump | {"fitted_odometer_km": fitted_km})
    for k in range(5):
        worsening = k if unit == "101" else 0
        mean_a = 5.2 + 0.1 * i + 0.3 * worsening
        km = 99000 + KM_A_VISIT * k
        visit = {"unit": unit, "pump_id": pump_id, "visited_on": FIRST_VISIT + timedelta(days=90 * k)}
        visit |= {"odometer_km": km, "odometer_entered": km, "odometer_unit": "km", "state": "idle"}
        visit |= {"supply_v": 13.5, "fuel_temp_c": 22, "fuel_pressure_kpa": 400, "fuel_level_pct": 60}
        visit |= {"technician": "TK", "note": "hums at idle" if worsening == 3 else None}
        visit_id = insert_row(con, "visit", visit)
        rpm = 6100.0 - 260 * worsening
        reading = {"visit_id": visit_id, "origin": "elsewhere", "method_version": 1, "mean_a": mean_a}
        reading |= {"mean_a_se": 0.02, "min_a": mean_a - 0.3, "max_a": mean_a + 0.35}
        reading |= {"ripple_a": mean_a * 0.09, "ripple_pct": 9.0 + worsening, "revolution_ms": 60000 / rpm}
        reading |= {"rpm": rpm, "rpm_se": 6, "segments": 8, "speed_confidence": 0.99}
        profile = [9.0, 9.1, 8.9, 9.0 - 0.8 * worsening, 9.2, 8.8, 9.0, 9.1]
        insert_row(con, "reading", reading | {"segment_profile_pct": profile})


def copied(ledger: Path, folder: Path) -> Path:
    """Copy a ledger and all that lies beside it into `folder`; return the copy: for tests that write to what
    takes long to make."""
    shutil.copytree(ledger.parent, folder, dirs_exist_ok=True)
    return folder / ledger.name


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
