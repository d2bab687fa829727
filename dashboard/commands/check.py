"""`pumpledger check`: look for damage, missing waveforms and leftovers."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from dashboard.words.terminal import tell, tell_json
from ingest.errors import LedgerError

if TYPE_CHECKING:
    from ingest.ledger.salvage import Salvaged

EXAMPLE = "pumpledger check --clean"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's own options."""
    leftovers = parser.add_mutually_exclusive_group()
    leftovers.add_argument(
        "--adopt", action="store_true", help="keep waveforms that no visit refers to, each with a question"
    )
    leftovers.add_argument(
        "--clean", action="store_true", help="remove them instead, if older than a day, and unfinished files"
    )
    parser.add_argument(
        "--repair", action="store_true", help="rebuild a damaged ledger from what can be read; it is kept"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace) -> int:
    """Check; 1 when something is wrong."""
    from dashboard.shell.progress import progress_bar
    from ingest.ledger.upkeep import check_ledger

    try:
        checked = check_ledger(
            args.ledger, adopt=args.adopt, clean=args.clean, progress=progress_bar("waveform")
        )
        unreadable = any(f.code == "table-unreadable" for f in checked.findings)
    except LedgerError as error:
        if error.code != "ledger-damaged" or not args.repair:
            raise
        unreadable = True
    if unreadable and args.repair:
        from ingest.ledger.salvage import salvage

        tell(_repaired(salvage(args.ledger)), aside=True)
        checked = check_ledger(
            args.ledger, adopt=args.adopt, clean=args.clean, progress=progress_bar("waveform")
        )
    if args.json:
        findings = [{"code": f.code, "level": f.level, "text": f.text} for f in checked.findings]
        facts = {"sound": checked.sound, "rows": checked.rows, "waveforms": checked.waveforms}
        tell_json(facts | {"findings": findings})
    else:
        for finding in checked.findings:
            tell(f"{finding.level}: {finding.text}")
        verdict = "Nothing is wrong." if checked.sound else "Something is wrong."
        rows = sum(checked.rows.values())
        tell(
            f"{verdict} Read {rows:,} rows in {len(checked.rows)} tables and {checked.waveforms:,} waveforms."
        )
    return 0 if checked.sound else 1


def _repaired(saved: Salvaged) -> str:
    lost = ", ".join(f"{count:,} of {name}" for name, count in saved.lost.items()) or "none"
    return (
        f"Rebuilt the ledger with {sum(saved.saved.values()):,} rows; rows that could not be read: {lost}."
        f" The damaged file is kept as {saved.kept.name}."
    )
