"""`pumpledger backup`: a verified copy of the ledger and its waveforms, while others work."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from dashboard.words.terminal import tell

EXAMPLE = "pumpledger backup --to backups/before-audit.duckdb"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's own options."""
    parser.add_argument(
        "--to",
        type=Path,
        metavar="FILE",
        help="the copy (default: backups/NAME-TIME.duckdb beside the ledger); it is a ledger itself: restore"
        " by copying it and its .waveforms folder back",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace) -> int:
    """Copy and verify."""
    from ingest.ledger.backup import backup

    made = backup(args.ledger, args.to)
    if args.json:
        facts = {"path": str(made.path), "rows": made.rows, "waveforms": made.waveforms}
        lacking = {"missing": list(made.missing), "damaged": list(made.damaged)}
        tell(json.dumps(facts | lacking | {"size_bytes": made.size_bytes}))
        return 0 if made.whole else 1
    verdict = "Copied and verified" if made.whole else "Copied, but not whole"
    tell(f"{verdict}: {made.path} ({made.size_bytes / 1e6:.1f} MB).")
    tell(f"  {sum(made.rows.values()):,} rows in {len(made.rows)} tables, {made.waveforms:,} waveforms")
    for capture_hash in made.missing:
        tell(f"  capture {capture_hash[:12]}… has no waveform file to copy")
    for capture_hash in made.damaged:
        tell(f"  the waveform file of capture {capture_hash[:12]}… is damaged and was not copied")
    return 0 if made.whole else 1
