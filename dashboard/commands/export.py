"""`pumpledger export`: the whole ledger as a fleet folder and as plain tables."""

from __future__ import annotations

import argparse
from pathlib import Path

from dashboard.words.terminal import tell

EXAMPLE = "pumpledger export exported --format csv"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's own options."""
    parser.add_argument(
        "folder", type=Path, metavar="FOLDER", help="a new folder; `load` reads it back (CSV)"
    )
    parser.add_argument(
        "--format", choices=("csv", "parquet"), default="csv", help="of the files (default csv)"
    )


def run(args: argparse.Namespace) -> int:
    """Write the folder; 1 when a waveform is missing."""
    from ingest.fleet_folder.export import export_ledger

    made = export_ledger(args.ledger, args.folder, form=args.format)
    tell(
        f"Wrote {sum(made.rows.values()):,} rows in {len(made.rows)} tables and {made.waveforms:,} waveforms"
        f" to {made.folder}."
    )
    for capture_hash in made.missing:
        tell(f"  capture {capture_hash[:12]}… has no waveform file")
    return 1 if made.missing else 0
