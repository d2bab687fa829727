"""Small captures of pumps, as chains."""

from pathlib import Path

import numpy as np

from ingest.chains.chain import Chain, Link
from ingest.known_pump import KnownPump
from tests.ledger_fixture import small_capture, write_capture_csv


def chains_in(folder: Path, pumps: int = 4, captures: int = 3) -> list[Chain]:
    """Write captures of pumps whose speed falls from visit to visit, and return their chains."""
    folder.mkdir(parents=True, exist_ok=True)
    known = KnownPump(segments=8, state="idle")
    chains = []
    for pump in range(pumps):
        links = []
        for k in range(captures):
            name = f"pump{pump}-{k}.csv"
            capture = small_capture(rpm=6000.0 + 90 * pump - 40 * k, mean_a=5 + 0.1 * pump, seconds=0.3)
            path = folder / name
            if not path.exists():
                write_capture_csv(path, capture)
            links.append(Link(name, path, known))
        chains.append(Chain(f"pump {pump}", tuple(links)))
    return chains


def rows_of(rows: dict) -> dict[str, dict]:
    """Return rows by name as plain values, so that two runs compare bit for bit."""
    from ingest.chains.told import row_as_json

    told = {name: row_as_json(row) for name, row in sorted(rows.items())}
    for row in told.values():
        row["stored"] = row["stored"] and row["stored"]["capture_hash"]
    return {name: {k: _bits(v) for k, v in row.items()} for name, row in told.items()}


def _bits(value):
    if isinstance(value, dict):
        return {k: _bits(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_bits(v) for v in value]
    return float(value).hex() if isinstance(value, float | np.floating) else value
