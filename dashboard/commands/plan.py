"""`pumpledger plan`: which pump is changed at which planned stop."""

from __future__ import annotations

import argparse
import json
import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

    from analytics.scheduling.planning import Plan

EXAMPLE = "pumpledger plan --ics plan.ics --csv"
MOST = 20
CSV_COLUMNS = [
    "planned_on", "unit", "position", "pump_type", "depot", "status", "because", "risk", "risk_until_then",
    "cost_of_waiting", "expected_saving", "hours", "part", "order_by", "due_work", "reason", "cautions",
    "pump_id",
]  # fmt: skip


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's own options."""
    parser.add_argument(
        "--as-of", type=_day, metavar="DATE", help="the day to stand on; default: the last dated fact"
    )
    parser.add_argument("--days", type=int, metavar="N", help="how far ahead to book (default 120)")
    to_file: dict[str, Any] = {"nargs": "?", "type": Path, "metavar": "FILE"}
    parser.add_argument(
        "--ics", const=Path("plan.ics"), help="write a calendar (default plan.ics)", **to_file
    )
    parser.add_argument(
        "--print",
        dest="page",
        const=Path("plan.html"),
        help="write a work list to print (default plan.html)",
        **to_file,
    )
    parser.add_argument("--csv", action="store_true", help="the bookings as CSV")
    parser.add_argument("--json", action="store_true", help="the whole plan as one object")
    parser.add_argument(
        "--keep", action="store_true", help="keep this list, so that the next says what changed"
    )
    parser.add_argument("--book", metavar="WHO", help="book all that is proposed, in this person's name")


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"'{text}' is not a date; write it like 2026-03-31") from error


def run(args: argparse.Namespace) -> int:
    """Plan, print, and write what was asked for."""
    from analytics.past.frames import records
    from analytics.scheduling import bookings
    from analytics.scheduling.planning import plan

    made = plan(args.ledger, as_of=args.as_of, horizon_days=args.days)
    if args.ics:
        from analytics.scheduling.ical import calendar

        args.ics.write_bytes(calendar(made))
        print(f"The calendar is in {args.ics}.", file=sys.stderr)
    if args.page:
        from analytics.scheduling.work_list import work_list_html

        args.page.write_text(work_list_html(made), encoding="utf-8")
        print(f"The work list is in {args.page}.", file=sys.stderr)
    if args.json:
        frames = ("lines", "checks", "unplaced", "waiting", "rejected", "bays", "parts", "picks", "changes")
        whole = {
            "as_of": made.as_of.isoformat(), "today": made.today.isoformat(),
            "horizon_days": made.horizon_days, "currency": made.currency,
            "expected_saving": made.expected_saving, "saving_low": made.saving_low,
            "saving_high": made.saving_high, "solver_gap": made.solver_gap, "notes": list(made.notes),
        }  # fmt: skip
        print(json.dumps(whole | {name: records(getattr(made, name)) for name in frames}, indent=1))
    elif args.csv:
        from dashboard.words.formats import as_csv

        sys.stdout.write(as_csv(made.lines[CSV_COLUMNS]).decode("utf-8-sig"))
    else:
        print(as_text(made))
    if args.keep:
        bookings.record_list(args.ledger, made, by=args.book or "")
    if args.book:
        number = bookings.accept(args.ledger, made, by=args.book)
        print(f"{number} booked in the name of {args.book}.", file=sys.stderr)
    return 0


def as_text(made: Plan) -> str:
    """Return the plan for a terminal."""
    from analytics.judging.safety import FIRST
    from analytics.past.frames import each

    out = [f"Replacements planned as of {made.as_of}, for {made.horizon_days} days ahead."]
    for row in each(made.lines):
        out.append(
            f"{row.planned_on}  {_place(row)}  {row.pump_type}  {row.status}, {row.because}; "
            f"part {row.part}; {row.hours:.1f} h; "
            f"waiting costs {row.cost_of_waiting:,.0f} {made.currency} against today"
        )
        out.append(f"    {row.reason}" + (f" Also due: {row.due_work}." if row.due_work else ""))
    if made.lines.empty:
        out.append("No pump is to be changed.")
    else:
        out.append(
            f"Expected to save {made.expected_saving:,.0f} {made.currency} against running these pumps to "
            f"failure (80 % range {made.saving_low:,.0f} to {made.saving_high:,.0f}; "
            "estimated, not money spent)."
        )
    out += _section("Should be changed, but can't be fitted", made.unplaced)
    out += _section("Not booked; what they need next", made.waiting)
    out += _section("Rejected by a person", made.rejected)
    if len(made.changes):
        out.append("Since the last list:")
        out += [
            f"  {r.what}: {_place(r)} {' → '.join(x for x in (r.before, r.after) if x)}, because {r.why}"
            for r in each(made.changes)
        ]
    order = made.parts[made.parts["to_order"] > 0]
    if len(order):
        out.append("Parts to order:")
        out += [
            f"  {r.to_order} × {r.pump_type} for {r.depot or 'the depot'} by {r.order_by}"
            for r in each(order)
        ]
    if made.solver_gap <= 1e-6:
        out.append("No cheaper assignment to these stops exists (proven).")
    out += [f"Note: {note}" for note in made.notes]
    out.append(FIRST)
    return "\n".join(out)


def _section(title: str, rows: pd.DataFrame) -> list[str]:
    from analytics.past.frames import each

    if rows.empty:
        return []
    lines = [f"{title}:"]
    for why, alike in rows.head(MOST).groupby("why", sort=False):
        lines.append(f"  {str(why)[:1].upper()}{str(why)[1:]}:")
        lines += [
            f"    {_place(row)}  {row.pump_type}  risk {100 * row.risk:.1f} %  {row.next_step or ''}".rstrip()
            for row in each(alike)
        ]
    if len(rows) > MOST:
        lines.append(f"  and {len(rows) - MOST:,} more of less risk (--json lists all)")
    return lines


def _place(row: Any) -> str:
    return row.unit if row.position == "main" else f"{row.unit} ({row.position})"
