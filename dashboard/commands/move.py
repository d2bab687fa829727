"""`pumpledger move`: a ledger from a file to a server, or back."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from dashboard.words.terminal import tell

EXAMPLE = "pumpledger move pumpledger.duckdb fleet.toml"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's own options."""
    parser.add_argument(
        "source", type=Path, metavar="FROM", help="the ledger file, or the address (.toml) of one on a server"
    )
    parser.add_argument("to", type=Path, metavar="TO", help="an address, or a file that is not there yet")
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace) -> int:
    """Move and prove."""
    from ingest.ledger.moving import move

    moved = move(args.source, args.to)
    if args.json:
        facts = {"rows": moved.rows, "waveforms": moved.waveforms, "lacking": list(moved.lacking)}
        tell(json.dumps(facts | {"kept": moved.kept}))
        return 0 if not moved.lacking else 1
    rows = sum(moved.rows.values())
    tell(f"Moved, every cell equal: {rows:,} rows, {moved.waveforms:,} waveforms.")
    tell(f"  What was at {args.source} is kept as {moved.kept}; from now on work with --ledger {args.to}")
    for capture_hash in moved.lacking:
        tell(f"  capture {capture_hash[:12]}… had no sound waveform file to copy")
    return 0 if not moved.lacking else 1
