"""Situations of the trade run as a user would: a fleet folder loaded, then ranked; many units in one
ledger."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pandas as pd

from dashboard.cli import main

LAST_DAY = date(2026, 11, 20)
APART = timedelta(days=60)
KM_APART = 9_000.0
_SYSTEM = "system_v"
Row = Mapping[str, Any]


def days_of(count: int, *, apart: timedelta = APART) -> list[date]:
    """Return the days of so many visits, the last on LAST_DAY."""
    return [LAST_DAY - apart * (count - 1 - i) for i in range(count)]


def rank_situations(
    folder: Path, situations: Iterable[Row], capsys: Any, *, apart: timedelta = APART
) -> dict[str, dict[str, Any]]:
    """Return rank's object for each situation by its name, which is its unit.

    A situation: name, pump_type (columns of pump_types.csv), visits (columns of visits.csv, days filled in),
    services and breakdowns (columns of theirs), distance_on_pump_km.
    """
    tables: dict[str, list[dict[str, Any]]] = {
        name: [] for name in ("vehicles", "pump_types", "pumps", "visits", "services", "breakdowns")
    }
    for number, situation in enumerate(situations):
        unit, kind = str(situation["name"]), dict(situation["pump_type"])
        kind = kind | {"pump_type": f"T{number}"} if kind else {}
        visits = [dict(visit) for visit in situation["visits"]]
        run_km = float(situation.get("distance_on_pump_km", 60_000.0))
        system_v = {v.pop(_SYSTEM) for v in visits if _SYSTEM in v} or {None}
        tables["vehicles"].append({"unit": unit, "system_v": system_v.pop()})
        tables["pump_types"] += [kind] if kind else []
        days = days_of(len(visits), apart=apart)
        fitted_on = days[0] - timedelta(days=0 if run_km == 0 else 400)
        tables["pumps"].append(
            {"unit": unit, "pump_type": kind.get("pump_type"), "serial": f"S{number}", "fitted_on": fitted_on,
             "fitted_odometer": 10_000.0}
        )  # fmt: skip
        for i, (visit, day) in enumerate(zip(visits, days, strict=True)):
            odometer = 10_000.0 + run_km + KM_APART * apart.days / 60 * i
            tables["visits"].append(
                {
                    "unit": unit,
                    "visited_on": day,
                    "odometer": odometer,
                    "serial": f"S{number}",
                    "ref": f"{unit}/{i}",
                }
                | visit
            )
        for name in ("services", "breakdowns"):
            tables[name] += [{"unit": unit} | dict(row) for row in situation.get(name, ())]
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "fleet.toml").write_text('distance_unit = "km"\n', encoding="utf-8")
    for name, rows in tables.items():
        if rows:
            pd.DataFrame(rows).to_csv(folder / f"{name}.csv", index=False)
    ledger = str(folder / "fleet.duckdb")
    assert main(["load", str(folder), "--ledger", ledger]) == 0
    capsys.readouterr()
    assert main(["rank", "--json", "--ledger", ledger, "--as-of", str(LAST_DAY + timedelta(days=1))]) == 0
    return {row["unit"]: row for row in json.loads(capsys.readouterr().out)}
