"""`pumpledger hold`: a pump type or lot held back, its units and stock listed by depot, closed one by one."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from dashboard.words.terminal import tell, tell_json, tell_rows
from ingest.errors import EntryRefused
from ingest.vocabulary import HOLD_OUTCOMES

if TYPE_CHECKING:
    from ingest.author import Author

EXAMPLE = 'pumpledger hold FP-10 --lot L7 --why "three seized below 5,000 mi"'


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument("pump_type", nargs="?", metavar="TYPE",
                        help="the type to hold back; without it the holds are listed")  # fmt: skip
    parser.add_argument("--lot", metavar="L", help="this lot of it alone")
    parser.add_argument("--why", default="", metavar="TEXT", help="why it is held back, or lifted")
    one = parser.add_mutually_exclusive_group()
    one.add_argument("--recall", type=int, metavar="N", help="the recall list of hold N")
    one.add_argument("--close", type=int, metavar="N", help="close one line of hold N")
    one.add_argument("--lift", type=int, metavar="N", help="end hold N")
    parser.add_argument("--unit", metavar="U", help="with --close: the unit whose pump is done with")
    parser.add_argument("--position", metavar="P", help="with --unit: which pump, where it has several")
    parser.add_argument("--depot", metavar="D", help="the depot whose stock is closed, or listed alone")
    parser.add_argument("--outcome", choices=HOLD_OUTCOMES, help="with --close: what it came to")
    parser.add_argument("--html", type=Path, metavar="FILE", help="write the recall list, for printing")
    parser.add_argument("--csv", action="store_true", help="the recall list as CSV")
    parser.add_argument("--json", action="store_true", help="print JSON")
    parser.add_argument("--by", metavar="NAME", help="who does it; default: the user of this machine")


def run(args: argparse.Namespace) -> int:
    """Begin, list, close or lift."""
    from ingest.author import operating_system_user
    from ingest.visit.holds import begin_hold, lift_hold

    if not args.ledger.exists():
        raise EntryRefused("no-ledger", f"There is no ledger at {args.ledger}.")
    author = operating_system_user().signing(args.by)
    if args.close is not None:
        return _close(args, author)
    if args.lift is not None:
        lift_hold(args.ledger, args.lift, args.why, author=author)
        tell(f"Hold {args.lift} is lifted.")
        return 0
    if args.recall is None and args.pump_type is not None:
        args.recall = begin_hold(args.ledger, args.pump_type, args.lot, args.why, author=author)
        tell(f"Hold {args.recall} begins.", aside=True)
    return _list(args) if args.recall is None else _recall(args)


def _close(args: argparse.Namespace, author: Author) -> int:
    from ingest.ledger.connection import open_ledger
    from ingest.visit.holds import close_line, lines_of

    if (args.unit is None) == (args.depot is None) or args.outcome is None:
        raise EntryRefused("line-missing", "--close wants --unit or --depot, and --outcome.")
    pump_id = None
    if args.unit is not None:
        with open_ledger(args.ledger) as connection:
            rows = lines_of(connection, args.close)
        rows = rows[(rows["unit"] == args.unit) & rows["outcome"].isna()]
        if args.position:
            rows = rows[rows["position"] == args.position]
        if len(rows) != 1:
            which = (
                "has several such pumps; give --position" if len(rows) else "has no open line in this hold"
            )
            raise EntryRefused("no-line", f"Unit {args.unit} {which}.")
        pump_id = int(rows["pump_id"].iloc[0])
    close_line(
        args.ledger, args.close, args.outcome, pump_id=pump_id, depot=args.depot, note=args.why or None,
        author=author,
    )  # fmt: skip
    tell(f"Closed: {'unit ' + args.unit if args.unit else 'stock at ' + args.depot}, {args.outcome}.")
    return 0


def _recall(args: argparse.Namespace) -> int:
    from dashboard.data.queries import ask, records
    from dashboard.parts.recall_list import recall_sheet, recall_table, summary
    from dashboard.shell.paper import write_file
    from dashboard.words.formats import as_csv
    from ingest.ledger.connection import open_ledger
    from ingest.visit.holds import lines_of

    holds = [row for row in records(ask(args.ledger, "holds")) if row["hold_id"] == args.recall]
    if not holds:
        raise EntryRefused("no-hold", f"There is no hold {args.recall}.")
    with open_ledger(args.ledger) as connection:
        lines = lines_of(connection, args.recall)
    if args.depot:
        lines = lines[lines["depot"] == args.depot]
    if args.html:
        write_file(args.html, recall_sheet(holds[0], lines).encode("utf-8"))
        tell(f"The recall list is in {args.html}.", aside=True)
    if args.json:
        tell_json(holds[0] | {"lines": records(lines)})
    elif args.csv:
        tell_rows(as_csv(recall_table(lines)).decode("utf-8-sig"))
    elif not args.html:
        tell(summary(holds[0], lines))
        table = recall_table(lines)
        tell(table.to_string(index=False) if len(table) else "No unit has such a pump, and none is in stock.")
    return 0


def _list(args: argparse.Namespace) -> int:
    from dashboard.data.queries import ask, records
    from dashboard.parts.recall_list import summary
    from ingest.ledger.connection import open_ledger
    from ingest.visit.holds import lines_of

    holds = records(ask(args.ledger, "holds"))
    with open_ledger(args.ledger) as connection:
        lines_by_hold = [lines_of(connection, hold["hold_id"]) for hold in holds]
    for hold, lines in zip(holds, lines_by_hold, strict=True):
        if args.json:
            tell_json(hold | {"open": int(lines["outcome"].isna().sum()), "lines": len(lines)})
        else:
            tell(f"{hold['hold_id']:>4}  {summary(hold, lines)}")
    if not holds and not args.json:
        tell('Nothing is on hold: pumpledger hold TYPE --lot L --why "…" begins one.')
    return 0
