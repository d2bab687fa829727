"""Small fleet folders for tests."""

from pathlib import Path

import pandas as pd

FLEET = 'distance_unit = "mi"\ncurrency = "USD"\nplanned_replacement = 650\nfailure_replacement = 2400\n'


def write_folder(folder: Path, *, toml: str = FLEET, **tables: str) -> Path:
    """Write tables given as text: first line the header, cells separated by commas, blanks around ignored."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "fleet.toml").write_text(toml, encoding="utf-8")
    for name, text in tables.items():
        lines = [",".join(c.strip() for c in line.split(",")) for line in text.strip().splitlines()]
        (folder / f"{name}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return folder


def steady_visits(unit: str = "T1", n: int = 6, *, start: int = 40_000, step: int = 3_000) -> list[dict]:
    """Visits of one unit every 90 days, `step` miles apart, all healthy."""
    days = pd.date_range("2024-01-10", periods=n, freq="90D").strftime("%Y-%m-%d")
    return [
        {
            "unit": unit,
            "visited_on": day,
            "odometer": start + step * i,
            "mean_a": 5.0 + 0.01 * i,
            "ripple_pct": 9.0,
            "rpm": 6000,
            "supply_v": 13.5,
        }
        for i, day in enumerate(days)
    ]


def write_visits(folder: Path, visits: list[dict], *, toml: str = FLEET, **tables: str) -> Path:
    """Write a folder whose visits.csv holds these rows."""
    write_folder(folder, toml=toml, **tables)
    pd.DataFrame(visits).to_csv(folder / "visits.csv", index=False)
    return folder


ONE_UNIT = {
    "vehicles": "unit,vin,make,class\nT1,,Orrin,van",
    "pump_types": "pump_type,current_low_a,current_high_a\nP1,4,7",
    "pumps": "unit,position,pump_type,serial,fitted_on,fitted_odometer\nT1,main,P1,S1,2023-06-01,30000",
}
