"""`pumpledger load`: bring in a fleet folder; a second time changes nothing."""

from __future__ import annotations

import argparse
import shlex
from pathlib import Path

from dashboard.shell.where_measured import add_where, where_of
from dashboard.words.terminal import tell, tell_json

EXAMPLE = "pumpledger load fleet_folder --dry-run"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument("folder", type=Path, help="folder of CSV tables (docs/fleet_folder.md)")
    parser.add_argument("--strict", action="store_true", help="store nothing if any row is refused")
    parser.add_argument("--dry-run", action="store_true", help="report what would change, store nothing")
    parser.add_argument(
        "--by", metavar="NAME", help="who loads, for the change log; default: the user of this machine"
    )
    parser.add_argument(
        "--refused",
        type=Path,
        metavar="FOLDER",
        help="write the refused rows, each with what is wrong, into a new folder to mend and load again",
    )
    parser.add_argument(
        "--propose",
        action="store_true",
        help="say which tables and columns other files of the folder seem to hold; stores nothing",
    )
    parser.add_argument(
        "--save-columns",
        action="store_true",
        help="with --propose: keep that as columns.toml in the folder, for load to go by",
    )
    add_where(parser)
    parser.add_argument(
        "--hand-over",
        action="append",
        default=[],
        metavar="UNIT",
        help="from now on the ledger that wrote this export keeps the unit; all: every unit of the folder",
    )
    parser.add_argument("--json", action="store_true", help="print the whole report as one JSON object")


def run(args: argparse.Namespace) -> int:
    """Load the folder; returns 1 when no row could be stored or --strict refused, else 0."""
    from dashboard.shell.progress import progress_bar
    from ingest.author import operating_system_user
    from ingest.fleet_folder.loading import load_folder
    from ingest.fleet_folder.mending import write_refused

    if args.propose or args.save_columns:
        return _propose(args)
    report = load_folder(
        args.ledger,
        args.folder,
        strict=args.strict,
        dry_run=args.dry_run,
        progress=progress_bar("capture"),
        author=operating_system_user().signing(args.by),
        where=where_of(args),
        hand_over=args.hand_over,
    )
    if args.json:
        tell_json(report.as_dict())
    else:
        tell("\n".join(report.lines()))
    if report.refused and args.refused:
        for path in write_refused(args.folder, report.refused, args.refused):
            tell(f"Refused rows: {path}", aside=True)
        tell(f"Mend them there, then: pumpledger load {shlex.quote(str(args.refused))}", aside=True)
    elif report.refused and not args.json and not args.strict and report.rows_kept:
        tell("The refused rows in files to mend and load again: --refused FOLDER", aside=True)
    if args.strict and report.refused:
        tell(f"Nothing was stored: {len(report.refused):,} rows or files are refused.", aside=True)
        return 1
    if not report.rows_kept:
        tell("Nothing could be stored.", aside=True)
        return 1
    return 0


def _propose(args: argparse.Namespace) -> int:
    """Say what the folder's other files seem to hold and what a load by that would do, or keep it."""
    from ingest.author import operating_system_user
    from ingest.fleet_folder.loading import distance_unit_of, load_folder
    from ingest.fleet_folder.mapping import FILE, save_mapping
    from ingest.fleet_folder.proposing import propose

    proposal = propose(args.folder, distance_unit_of(args.ledger, args.folder))
    tell("\n".join(proposal.lines()) or "Every file of the folder is a table by its name already.")
    if not proposal.tables:
        return 1 if proposal.strange else 0
    if args.save_columns:
        path = save_mapping([one.mapped for one in proposal.tables], args.folder)
        tell(
            f"Kept in {path}; look through it, then: pumpledger load {shlex.quote(str(args.folder))}",
            aside=True,
        )
        return 0
    mapping = {one.mapped.table.file: one.mapped for one in proposal.tables}
    report = load_folder(
        args.ledger,
        args.folder,
        dry_run=True,
        mapping=mapping,
        where=where_of(args),
        author=operating_system_user().signing(args.by),
    )
    tell("\n".join(report.lines()))
    tell(
        f"Nothing is stored. --propose --save-columns keeps this as {FILE}, where headers left out can be "
        "given a column.",
        aside=True,
    )
    return 0
