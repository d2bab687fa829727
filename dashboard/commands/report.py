"""`pumpledger report`: a month on two pages, or what changed since the last morning's report."""

from __future__ import annotations

import argparse
from datetime import datetime, timedelta
from pathlib import Path

from dashboard.commands.options import day
from dashboard.words.terminal import tell
from ingest.durable import utc_now
from ingest.errors import EntryRefused

EXAMPLE = "pumpledger report --month 2026-10 --html october.html"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's own options."""
    parser.add_argument("--month", metavar="YYYY-MM", help="the month; default: that of the last dated fact")
    parser.add_argument("--depot", metavar="DEPOT", help="of this depot alone")
    parser.add_argument("--html", type=Path, metavar="FILE", help="write it as one HTML file, fit for mail")
    parser.add_argument("--pdf", type=Path, metavar="FILE", help="write it as PDF (extra 'pdf')")
    parser.add_argument(
        "--day",
        action="store_true",
        help="the morning's instead: what changed since the last one; prints nothing where nothing did",
    )
    parser.add_argument(
        "--since", type=day, metavar="DATE", help="with --day: from the start of this day instead"
    )


def run(args: argparse.Namespace) -> int:
    """Print, or write the files asked for."""
    from dashboard.shell.paper import write_file

    if args.since and not args.day:
        raise EntryRefused("since-without-day", "--since goes with --day; a month is named with --month.")
    if args.day and args.month:
        raise EntryRefused("day-or-month", "--day and --month are two reports; ask for one.")
    until = utc_now()  # what comes in while it is made is the next one's
    html, text = _day(args, until) if args.day else _month(args)
    if not html:
        return 0
    if args.pdf:
        from dashboard.shell.paper import as_pdf

        write_file(args.pdf, as_pdf(html))
    if args.html:
        write_file(args.html, html.encode("utf-8"))
    if not (args.html or args.pdf) or args.day:
        tell(text)
    if args.day and not args.since:
        from dashboard.parts.morning import mark_of

        write_file(mark_of(args.ledger, args.depot), until.isoformat().encode())
    return 0


def _month(args: argparse.Namespace) -> tuple[str, str]:
    from analytics.cost_review.month import month_of
    from analytics.scheduling.planning import plan
    from dashboard.parts import report
    from dashboard.shell.invented import note_of

    month = month_of(args.ledger, args.month, args.depot)
    made = plan(args.ledger, as_of=month.last)
    note = note_of(args.ledger)
    return report.html(month, made, [note] if note else []), report.text(month, made)


def _day(args: argparse.Namespace, until: datetime) -> tuple[str, str]:
    from analytics.scheduling.inputs import read_inputs
    from analytics.scheduling.planning import make_plan
    from dashboard.parts import morning

    if args.since:
        since = datetime.combine(args.since, datetime.min.time())
    else:
        since = morning.last_made(args.ledger, args.depot) or until - timedelta(days=1)
    inputs = read_inputs(args.ledger, None)
    parts = make_plan(inputs).parts
    made = morning.morning(args.ledger, since, until, parts, args.depot, pumps=inputs.pumps)
    return morning.html(made), morning.text(made)
