"""Write the tables as a fleet folder that `pumpledger load` takes."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from .kinds import Prices

SETTINGS = """distance_unit = "km"
currency = "USD"
reference_supply_v = 13.5
planned_replacement = {planned}
failure_replacement = {failure}
records_are = "invented"

[cost]
part = {part}
part_returned = {part_returned}
check_tank_closed = {check_closed}
check_tank_open = {check_open}
extra_stop = {extra_stop}
comeback = {comeback}
"""


def write_folder(tables: dict[str, pd.DataFrame], path: str | Path, prices: Prices | None = None) -> Path:
    """Write CSVs and fleet.toml into `path` (made if need be) and give it back."""
    folder, prices = Path(path), prices or Prices()
    folder.mkdir(parents=True, exist_ok=True)
    for name, frame in tables.items():
        frame.to_csv(folder / f"{name}.csv", index=False, date_format="%Y-%m-%d")
    (folder / "fleet.toml").write_text(
        SETTINGS.format(planned=prices.planned, **vars(prices)), encoding="utf-8"
    )
    return folder
