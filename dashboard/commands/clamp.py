"""`pumpledger clamp`: clamps registered, checked on a known current, studied."""

from __future__ import annotations

import argparse
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dashboard.words.terminal import tell, tell_json
from ingest.errors import EntryRefused

if TYPE_CHECKING:
    from ingest.author import Author

EXAMPLE = "pumpledger clamp blue --known 5.00 --read 5.06"
# Options that register or change a clamp: columns of clamps.csv.
FACTS = ("factor", "channel", "range_a", "pct", "offset_a", "owner", "checked_on", "due_on", "note")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument("clamp", nargs="?", metavar="ID", help="the clamp; without it all are listed")
    parser.add_argument("--known", type=float, metavar="A", help="a known current that it was held on")
    parser.add_argument("--read", type=float, metavar="A", help="what it read there")
    parser.add_argument("--date", metavar="D", help="YYYY-MM-DD of the check (default: today)")
    facts = parser.add_argument_group("to register it, or change what is on record")
    for name in FACTS:
        facts.add_argument(f"--{name.replace('_', '-')}", metavar="X", help=_HELP[name])
    parser.add_argument("--study", type=Path, metavar="FILE",
                        help="a table of technician, pump, measured: what measuring adds")  # fmt: skip
    parser.add_argument("--keep", action="store_true", help="keep the study's accuracy for this clamp")
    parser.add_argument("--shifts", action="store_true", help="look for days on which a clamp was off")
    parser.add_argument("--by", metavar="NAME", help="who does it; default: the user of this machine")
    parser.add_argument("--json", action="store_true", help="print JSON")


_HELP = {
    "factor": "what it gives, such as 100mV/A",
    "channel": "the channel of its captures",
    "range_a": "the most it reads, A",
    "pct": "what it may be off by, percent of the reading",
    "offset_a": "and amps on top",
    "owner": "who has it",
    "checked_on": "when it was last checked",
    "due_on": "when that is due again",
    "note": "anything else",
}


def run(args: argparse.Namespace) -> int:
    """Register, check, study or list; 1 where a check failed."""
    from ingest.author import operating_system_user

    author = operating_system_user().signing(args.by)
    if args.shifts:
        return _shifts(args, author)
    if args.study is not None:
        return _study(args, author)
    if args.clamp is None:
        return _list(args)
    typed = {name: getattr(args, name) for name in FACTS if getattr(args, name) is not None}
    if typed:
        _register(args.ledger, args.clamp, typed, author)
        tell(f"Clamp {args.clamp} is on record as given.")
    if args.known is None and args.read is None:
        if not typed:
            raise EntryRefused("nothing-given", "Give --known and --read for a check, or what to register.")
        return 0
    return _check(args, author)


def _register(ledger: Path, name: str, typed: dict[str, Any], author: Author) -> None:
    from ingest.fleet_folder.one_fact import add_facts, change_facts, read_facts
    from ingest.fleet_folder.tables import CLAMPS
    from ingest.ledger.clamps import clamp_of
    from ingest.ledger.connection import open_ledger

    values = read_facts(CLAMPS, {"clamp": name} | typed, "km")
    with open_ledger(ledger, read_only=False) as connection:
        known = clamp_of(connection, name)
    signed: dict[str, Any] = {"author": author, "reason": "as given on the command line", "command": "clamp"}
    if known is None:
        add_facts(ledger, CLAMPS, values, **signed)
    else:
        change_facts(ledger, CLAMPS, name, {k: v for k, v in values.items() if k != "clamp"}, **signed)


def _check(args: argparse.Namespace, author: Author) -> int:
    from datetime import date

    from ingest.dates import read_day
    from ingest.intake.clamp_checks import record_check

    if args.known is None or args.read is None:
        raise EntryRefused("half-a-check", "A check needs both: --known, the true current, and --read.")
    day = read_day(args.date, field="--date") if args.date else date.today()
    outcome = record_check(args.ledger, args.clamp, args.known, args.read, on=day, author=author)
    if args.json:
        tell_json(asdict(outcome) | {"passed": outcome.passed})
    else:
        tell(outcome.text)
    return 0 if outcome.passed else 1


def _study(args: argparse.Namespace, author: Author) -> int:
    from dashboard.words.clamps import study_lines
    from ingest.checking.gauge_study import study_from
    from ingest.fleet_folder.sheets import read_sheet

    if not args.study.is_file():
        raise EntryRefused("no-such-file", f"{args.study}: there is no such file.")
    cells = read_sheet(args.study, "study.csv").cells
    study = study_from(cells.rename(columns={name: str(name).strip().lower() for name in cells}))
    if args.json:
        tell_json(asdict(study) | {"gauge_sd": study.gauge_sd, "accuracy_a": study.accuracy_a})
    else:
        tell("\n".join(study_lines(study)))
    if args.keep:
        if args.clamp is None:
            raise EntryRefused(
                "which-clamp", "Say which clamp the study was made with: clamp ID --study FILE --keep."
            )
        _register(args.ledger, args.clamp, {"pct": "0", "offset_a": f"{study.accuracy_a:.4g}"}, author)
    return 0


def _shifts(args: argparse.Namespace, author: Author) -> int:
    from ingest.intake.clamp_checks import hold_shifts

    shifts = hold_shifts(args.ledger, author=author)
    for shift in shifts:
        tell(shift.text)
    if not shifts:
        tell("No clamp shifted a day's pumps beyond what was asked about already.")
    return 0


def _list(args: argparse.Namespace) -> int:
    from datetime import date

    from ingest.ledger.clamps import clamps
    from ingest.ledger.connection import open_ledger

    if not args.ledger.exists():
        raise EntryRefused("no-ledger", f"There is no ledger at {args.ledger}.")
    with open_ledger(args.ledger) as connection:
        known = list(clamps(connection).values())
    for clamp in known:
        if args.json:
            tell_json(asdict(clamp))
            continue
        facts = [
            clamp.factor,
            clamp.range_a and f"to {clamp.range_a:g} A",
            clamp.owner and f"with {clamp.owner}",
        ]
        due = clamp.due_on and f"due {clamp.due_on}{' OVERDUE' if clamp.overdue(date.today()) else ''}"
        tell(f"{clamp.clamp:<12} {', '.join(str(fact) for fact in [*facts, due] if fact)}")
    if not known and not args.json:
        tell("No clamp is on record: pumpledger clamp blue --factor 100mV/A registers one.")
    return 0
