"""`pumpledger plan`: which pump is checked or changed on which day, and a person's decisions about it."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dashboard.commands import choices
from dashboard.commands.options import day, days
from dashboard.commands.standing import say_age
from dashboard.words.terminal import tell, tell_rows
from ingest.errors import EntryRefused
from ingest.vocabulary import FOUND

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    import pandas as pd

    from analytics.scheduling.planning import Plan
    from ingest.author import Author

EXAMPLE = "pumpledger plan --ics plan.ics --csv"
MOST = 20
CSV_COLUMNS = [
    "planned_on", "unit", "position", "pump_type", "depot", "job", "asked_first", "own_stop", "p_change",
    "status", "because", "risk", "risk_to_next_stop", "risk_until_then", "cost_of_waiting",
    "expected_saving", "saving_against_later", "hours", "part", "order_by", "due_work", "reason",
    "steps", "bring", "cautions", "job_number", "pump_id",
]  # fmt: skip
DECISIONS = {
    "book": "book the pump of UNIT on --on DAY (default: the day planned)",
    "pin": "book it on --on DAY whatever is decided; --why is asked for",
    "move": "move booked work to --on DAY; --why is asked for",
    "reject": "take it off the list; --why is asked for",
    "done": "mark it done; --why says what was found, --changed whether the pump came off",
    "withdraw": "take back what was decided",
}
OF_A_CHANGE = ("fitted", "serial", "odometer", "found")  # options that only a changed pump has a use for
OF_DONE = ("changed", *OF_A_CHANGE)
OF_A_DECISION = ("position", "on", "why", *OF_DONE)
DAYLESS = ("reject", "withdraw")
NARROW = ("only_depot", "only_type", "only_class")
TO_SHOW = ("ics", "page", "csv", "json", "keep", "book_all", *NARROW)  # that only a list has a use for
SPELT = {"page": "print", "book_all": "book-all"} | {name: name.removeprefix("only_") for name in NARROW}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's own options."""
    parser.add_argument(
        "--as-of", type=day, metavar="DATE",
        help="the day to stand on; default: the last dated fact, planned from today on",
    )  # fmt: skip
    parser.add_argument("--days", type=days, metavar="N", help="how far ahead to plan (default 120)")
    choices.add_arguments(parser)
    to_file: dict[str, Any] = {"nargs": "?", "type": Path, "metavar": "FILE"}
    parser.add_argument(
        "--ics",
        const=Path("plan.ics"),
        help="write a calendar (default plan.ics), and keep the list",
        **to_file,
    )
    parser.add_argument(
        "--print",
        dest="page",
        const=Path("plan.html"),
        help="write work lists to print (default plan.html)",
        **to_file,
    )
    parser.add_argument("--csv", action="store_true", help="changes and checks as CSV")
    parser.add_argument("--json", action="store_true", help="the whole plan as one object")
    parser.add_argument(
        "--keep", action="store_true", help="keep this list, so that the next says what changed"
    )
    parser.add_argument("--book-all", action="store_true", help="book every change that is proposed")
    decide = parser.add_mutually_exclusive_group()
    for name, text in DECISIONS.items():
        decide.add_argument(f"--{name}", metavar="UNIT", help=text)
    parser.add_argument("--position", metavar="P", help="which pump of UNIT, where it has several")
    parser.add_argument("--on", type=day, metavar="DAY", help="the day, such as 2026-03-31")
    parser.add_argument("--why", default="", metavar="TEXT", help="the reason, kept with the decision")
    parser.add_argument(
        "--changed",
        choices=("yes", "no"),
        help="with --done: whether the pump was changed, which is recorded",
    )
    parser.add_argument("--fitted", metavar="TYPE", help="with --changed yes: the type fitted, where another")
    parser.add_argument("--serial", metavar="S", help="with --changed yes: serial number of the pump fitted")
    parser.add_argument("--odometer", metavar='"88412 mi"', help="with --changed yes: where it stood")
    parser.add_argument("--found", choices=FOUND, help="with --changed yes: the state of the old pump")
    parser.add_argument("--by", metavar="WHO", help="in whose name (default: the user of this computer)")


def run(args: argparse.Namespace) -> int:
    """Decide if asked to; else plan, print, and write what was asked for."""
    from analytics.past.frames import records
    from analytics.scheduling import bookings
    from analytics.scheduling.narrowing import narrowed
    from analytics.scheduling.planning import plan
    from ingest.author import operating_system_user

    author = operating_system_user().signing(args.by)
    what = next((name for name in DECISIONS if getattr(args, name) is not None), None)
    refuse_unheard(args, what)
    if what:
        tell(decide(args, what, getattr(args, what), author))
        return 0
    whole_plan = plan(args.ledger, as_of=args.as_of, horizon_days=args.days)
    made = narrowed(whole_plan, choices.chosen(args))
    say_age(args.ledger, args.as_of, to_text=not (args.json or args.csv))
    if args.ics or args.page:
        from dashboard.shell.paper import write_file
    if args.ics:
        from analytics.scheduling.ical import calendar

        write_file(args.ics, calendar(made))
        tell(f"The calendar is in {args.ics}.", aside=True)
    if args.page:
        from analytics.scheduling.work_list import work_list_html

        write_file(args.page, work_list_html(made).encode("utf-8"))
        tell(f"The work list is in {args.page}.", aside=True)
    if args.json:
        frames = (
            "lines", "checks", "unplaced", "waiting", "rejected", "bays", "parts", "picks", "changes",
            "cancelled",
        )  # fmt: skip
        whole = {
            "as_of": made.as_of.isoformat(), "today": made.today.isoformat(),
            "horizon_days": made.horizon_days, "currency": made.currency,
            "expected_saving": made.expected_saving, "saving_low": made.saving_low,
            "saving_high": made.saving_high, "saving_against_later": made.saving_against_later,
            "solver_gap": made.solver_gap,
            "notes": [note.text for note in made.notes],
            "note_codes": [{"code": note.code, "values": dict(note.values)} for note in made.notes],
        }  # fmt: skip
        tell(json.dumps(whole | {name: records(getattr(made, name)) for name in frames}, indent=1))
    elif args.csv:
        from dashboard.words.formats import as_csv

        tell_rows(as_csv(csv_rows(made)).decode("utf-8-sig"))
    else:
        tell(as_text(made, _warranties(args.ledger, made)))
    if args.keep or args.ics:
        bookings.record_list(args.ledger, whole_plan, author=author)
    if args.book_all:
        number = bookings.accept(args.ledger, made, author=author, today=args.as_of)
        tell(f"{number} booked in the name of {author.name}.", aside=True)
    return 0


def refuse_unheard(args: argparse.Namespace, what: str | None) -> None:
    """Refuse options that nothing would come of; what: the decision asked for, if any.

    Raises EntryRefused.
    """

    def said(names: Sequence[str]) -> str:
        return ", ".join(f"--{SPELT.get(name, name)}" for name in names if getattr(args, name))

    if what is None:
        if told := said(OF_A_DECISION):
            raise EntryRefused(
                "no-decision",
                f"{told}: that belongs to a decision about one unit; name it (--book, --pin, --move, "
                "--reject, --done or --withdraw UNIT), or leave it out.",
            )
        if args.by and not (args.keep or args.ics or args.book_all):
            raise EntryRefused(
                "nothing-written",
                "--by: nothing is written here in anybody's name; add a decision, --keep, --ics or "
                "--book-all, or leave it out.",
            )
        return
    if what != "done" and (told := said(OF_DONE)):
        raise EntryRefused(
            "not-done",
            f"{told}: that is kept of work done; give it with --done, or leave it out of --{what}.",
        )
    if what in DAYLESS and (told := said(("on",))):
        raise EntryRefused("no-day", f"{told}: --{what} has no day; leave it out.")
    if told := said(TO_SHOW):
        raise EntryRefused(
            "decision-alone",
            f"{told}: --{what} only decides and shows no list; ask for the list in a command of its own.",
        )


def _day_planned(args: argparse.Namespace, pump_id: int) -> date | None:
    """Return the day that today's plan has for a pump that no list kept has, or None."""
    from analytics.scheduling.planning import plan

    jobs = plan(args.ledger, as_of=args.as_of, horizon_days=args.days).jobs
    days = jobs.loc[jobs["pump_id"] == pump_id, "planned_on"]
    return days.iloc[0] if len(days) else None


def decide(args: argparse.Namespace, what: str, unit: str, author: Author) -> str:
    """Carry out one decision about a unit's pump; return the sentence to show."""
    from analytics.scheduling import bookings

    if what == "done":
        return _done(args, bookings.pump_meant(args.ledger, unit, args.position), author)
    pump_id = bookings.pump_in_service(args.ledger, unit, args.position)
    if what in ("reject", "withdraw"):
        return getattr(bookings, what)(args.ledger, pump_id, author=author, reason=args.why, today=args.as_of)
    planned_on = args.on
    if planned_on is None and what == "book":
        planned_on = bookings.day_proposed(args.ledger, pump_id, args.as_of) or _day_planned(args, pump_id)
    if planned_on is None:
        raise EntryRefused(
            "day-missing",
            f"--{what} {unit}: no work is planned for its pump; say the day with --on, such as "
            "--on 2026-03-31."
            if what == "book"
            else f"--{what} {unit}: say the day with --on, such as --on 2026-03-31.",
        )
    return getattr(bookings, what)(
        args.ledger, pump_id, planned_on, author=author, reason=args.why, today=args.as_of
    )


def _done(args: argparse.Namespace, pump_id: int, author: Author) -> str:
    """Mark work as done, with the pump's change where it was made; asks where there is somebody to ask."""
    from analytics.scheduling import bookings
    from ingest.units import parse_quantity
    from ingest.visit.pump_lives import NewPump

    changed = {"yes": True, "no": False}.get(args.changed)
    if changed is None and sys.stdin.isatty():
        changed = input("Was the pump changed (yes or no)? ").strip().casefold() in ("y", "yes")
    said = [f"--{name}" for name in OF_A_CHANGE if getattr(args, name) is not None]
    if changed is False and said:
        raise EntryRefused(
            "not-changed",
            f"{', '.join(said)}: that is kept of a changed pump alone; give --changed yes, or leave it out.",
        )
    odometer = parse_quantity(args.odometer, "distance", field="--odometer") if args.odometer else None
    try:
        return bookings.done(
            args.ledger, pump_id, author=author, reason=args.why, done_on=args.on, changed=changed,
            new=NewPump(args.fitted, args.serial), odometer_km=odometer, found=args.found, today=args.as_of,
        )  # fmt: skip
    except EntryRefused as refused:
        if refused.code != "changed-unsaid":
            raise
        raise EntryRefused(refused.code, f"{refused.text} Give --changed yes or --changed no.") from refused


def csv_rows(made: Plan) -> pd.DataFrame:
    """Return changes and checks by day, steps as one text."""
    jobs = made.jobs.sort_values(["planned_on", "depot", "unit"], ignore_index=True)
    return jobs.assign(steps=[" ".join(s) for s in jobs["steps"]])[CSV_COLUMNS]


def _warranties(ledger: Path, made: Plan) -> dict[int, str]:
    """Return how the warranty of each pump planned to come off stands on that day, by pump_id."""
    import pandas as pd

    from dashboard.data.queries import settings
    from dashboard.words.warranty import warranty_line
    from ingest.ledger.connection import open_ledger
    from ingest.visit.warranty import warranties

    days = dict(zip(made.lines["pump_id"].astype(int), pd.to_datetime(made.lines["planned_on"]), strict=True))
    with open_ledger(ledger) as connection:
        known = warranties(connection, list(days))
    own = settings(ledger)["distance_unit"]
    return {
        pump_id: warranty_line(warranty, own, days[pump_id].date()) for pump_id, warranty in known.items()
    }


def as_text(made: Plan, warranties: dict[int, str]) -> str:
    """Return the plan for a terminal. warranties: a sentence by pump_id."""
    from analytics.judging.safety import FIRST
    from analytics.past.frames import each
    from analytics.scheduling.lines import outcome
    from dashboard.words import formats
    from dashboard.words.formats import percent

    out = [f"Planned as of {made.as_of}, for {made.horizon_days} days from {made.today}."]
    for row in each(made.lines):
        ends = f", {outcome(row)}" if outcome(row) else ""
        own = ", a stop of its own" if row.own_stop else ""
        out.append(
            f"{row.planned_on}  {_place(row)}  {row.pump_type}  {row.job}{ends}{own}; {row.status}, "
            f"{row.because}; part {row.part}; {row.hours:.1f} h; "
            f"{percent(row.risk_until_then)} risk until then, "
            f"waiting costs {row.cost_of_waiting:,.0f} {made.currency} against today"
        )
        out.append(f"    {row.reason}" + (f" Also due: {row.due_work}." if row.due_work else ""))
        if said := warranties.get(int(row.pump_id)):
            out.append(f"    {said}")
    if made.lines.empty:
        out.append("No pump is to be changed.")
    else:
        out.append(
            f"Saves {made.expected_saving:,.0f} {made.currency} against running these pumps to "
            f"failure (80 % range {made.saving_low:,.0f} to {made.saving_high:,.0f}), and "
            f"{made.saving_against_later:,.0f} against leaving them for a later stop (estimated, not money "
            "spent)."
        )
    if len(made.checks):
        out.append("Checks:")
        out += [
            f"  {r.planned_on}  {_place(r)}  {r.pump_type}  {r.hours:.1f} h; bring {r.bring}"
            for r in each(made.checks)
        ]
    out += _section("Should be done, but not on a day of this list", made.unplaced)
    out += _section("No job of their own yet; what they need next", made.waiting)
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
            f"  {formats.part_for(row)} by {formats.day(row['order_by'])}" for row in order.to_dict("records")
        ]
    if made.solver_gap <= 1e-6:
        out.append("No cheaper assignment of this work to these stops exists (proven).")
    out += [f"Note: {note.text}" for note in made.notes if note.code != "as-of"]
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
            f"    {_place(row)}  {row.pump_type}  {_risk(row.risk)}  {row.next_step or ''}".rstrip()
            for row in each(alike)
        ]
    if len(rows) > MOST:
        lines.append(f"  and {len(rows) - MOST:,} more of less risk (--json lists all)")
    return lines


def _risk(share: float) -> str:
    from dashboard.words.formats import is_unknown, percent

    return "failed" if is_unknown(share) else f"risk {percent(share)}"


def _place(row: Any) -> str:
    from dashboard.words.formats import place

    return place(row.unit, row.position)
