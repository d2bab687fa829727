"""`pumpledger forget`: remove people's names, or what is older than the fleet keeps it; first only told."""

from __future__ import annotations

import argparse
from dataclasses import asdict

from dashboard.words.terminal import tell, tell_json

EXAMPLE = 'pumpledger forget "A. Baker" AB --really'


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's own options."""
    parser.add_argument(
        "names", nargs="*", metavar="NAME", help="a name or initials, exactly as the ledger has them"
    )
    parser.add_argument(
        "--overdue",
        action="store_true",
        help="what is older than the settings keep_initials_days, keep_photos_days, keep_waveforms_days and"
        " keep_changes_days say (0: kept for good)",
    )
    parser.add_argument(
        "--really", action="store_true", help="do it; without, it is only said what would be removed"
    )
    parser.add_argument("--why", default="asked for", metavar="TEXT", help="kept in the change log")
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace) -> int:
    """Remove, or say what would be."""
    from ingest.author import operating_system_user
    from ingest.errors import EntryRefused
    from ingest.ledger.forgetting import forget_names, forget_overdue

    if bool(args.names) == args.overdue:
        raise EntryRefused("nothing-named", "Name whom to forget, or say --overdue; one of the two.")
    who, dry_run = operating_system_user(), not args.really
    if args.overdue:
        found = forget_overdue(args.ledger, author=who, dry_run=dry_run)
    else:
        found = forget_names(args.ledger, args.names, author=who, dry_run=dry_run, reason=args.why)
    if args.json:
        tell_json(asdict(found) | {"done": args.really})
        return 0
    done = "Removed" if args.really else "Would be removed (--really does it)"
    tell(
        f"{done}: {sum(found.cells.values()):,} cells, {found.lines:,} lines of the change log, "
        f"{found.pictures:,} pictures' metadata, {found.waveforms:,} waveform files "
        f"{'' if args.overdue else 'renamed inside'}".rstrip()
        + "."
    )
    for name, count in sorted(found.cells.items()):
        tell(f"  {name}: {count:,}")
    if found.still_held:
        tell("These keep what they hold until you remove them:")
        for name in found.still_held:
            tell(f"  {name}")
    return 0
