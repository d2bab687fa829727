"""`pumpledger questions`: what the data leave doubtful, with the answers that settle it."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from dashboard.words.terminal import tell, tell_json

EXAMPLE = "pumpledger questions --kind odometer-kilometres --as value"
MOST_SCALED = 5  # answers that scaled readings, told below the list


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument("--kind", metavar="CODE", help="only this kind")
    parser.add_argument("--unit", metavar="U", help="only of this unit")
    parser.add_argument("--number", type=int, action="append", metavar="N", help="only this one; repeatable")
    parser.add_argument("--as", dest="answer", metavar="ANSWER",
                        help="settle all that are listed by this answer, which each must offer")  # fmt: skip
    parser.add_argument("--right", metavar="VALUE",
                        help='settle the one that is listed by the right odometer or day, such as "88412 mi" '
                        'or 2026-03-31, as the instrument shows it; of a clamp, since when it was '
                        "off")  # fmt: skip
    parser.add_argument("--undo", type=int, metavar="N",
                        help="take back the answer to N, which scaled a clamp's readings")  # fmt: skip
    parser.add_argument("--why", default="", metavar="TEXT", help="the reason, where the answer needs one")
    parser.add_argument("--by", metavar="NAME", help="who answers; default: the user of this machine")
    parser.add_argument(
        "--most", type=int, default=40, metavar="N", help="list at most so many (default: 40)"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object a question")


def run(args: argparse.Namespace) -> int:
    """List the open questions, or settle those that are meant."""
    from dashboard.data.doubts import open_questions_of
    from dashboard.data.queries import settings
    from ingest.author import operating_system_user
    from ingest.errors import EntryRefused
    from ingest.visit.clamp_scaled import take_back
    from ingest.visit.settling import settle_by_value, settle_questions

    if args.most < 1:
        raise EntryRefused("bad-most", f"--most: {args.most} questions is none; give 1 or more.")
    author = operating_system_user().signing(args.by)
    if args.undo is not None:
        visits = take_back(args.ledger, args.undo, args.why, author, command="questions")
        tell(f"{_readings(visits)} as before; question {args.undo} is open again.")
        return 0
    rows = open_questions_of(args.ledger, kind=args.kind, unit=args.unit, numbers=args.number)
    if lacking := sorted(set(args.number or ()) - {row["question"] for row in rows}):
        raise EntryRefused(
            "no-question",
            f"No question {lacking[0]} is open here; pumpledger questions lists those that are.",
        )
    if args.right is not None:
        if len(rows) != 1 or args.answer is not None:
            raise EntryRefused(
                "which-question",
                f"--right is the right value of one question, and {len(rows)} are listed; give its --number "
                "and no --as.",
            )
        settle_by_value(args.ledger, rows[0]["question"], args.right, args.why, author, command="questions")
        tell("1 question settled.")
        _tell_scaled(args.ledger, [rows[0]["question"]])
        return 0
    if args.answer is not None:
        ids = [row["question"] for row in rows]
        settled = settle_questions(args.ledger, ids, args.answer, args.why, author, command="questions")
        tell(f"{settled} {'question' if settled == 1 else 'questions'} settled.")
        _tell_scaled(args.ledger, ids)
        return 0
    if args.json:
        for row in rows:
            tell_json(row)
        return 0
    own = settings(args.ledger)["distance_unit"]
    for row in rows[: args.most]:
        tell("\n".join(_lines(row, own)))
    if len(rows) > args.most:
        tell(f"{len(rows) - args.most:,} more; --most N lists them, --kind and --unit narrow them.")
    if not rows:
        tell("Nothing is in doubt.")
    _tell_scaled(args.ledger)
    return 0


def _tell_scaled(ledger: Path, numbers: Sequence[int] | None = None) -> None:
    """Say which answers scaled a clamp's readings, and how to take each back."""
    from ingest.ledger.connection import open_ledger
    from ingest.visit.clamp_scaled import scaled

    with open_ledger(ledger) as connection:
        done = scaled(connection)
    for one in done[:MOST_SCALED]:
        if numbers is None or one.question_id in numbers:
            tell(f"{one.text} --undo {one.question_id} --why … takes that back.")


def _readings(count: int) -> str:
    return "1 reading is" if count == 1 else f"{count:,} readings are"


def _lines(row: dict[str, Any], own: str) -> list[str]:
    unit = f" · unit {row['unit']}" if row["unit"] else ""
    answers = [
        f"    --as {key}{' --why …' if answer['needs_reason'] else ''}: {answer['label']}"
        for key, answer in row["answers"].items()
    ]
    if row["takes"]:
        such = {"odometer": f'"88412 {own}"'}.get(row["takes"], "2026-03-31")
        right = "off since that day" if row["takes"] == "since" else f"the right {row['takes']}"
        why = "" if row["takes"] == "since" else " --why …"
        answers.append(f"    --number {row['question']} --right {such}{why}: {right}")
    return [f"{row['question']} · {row['kind']}{unit}", f"  {row['text']}", *answers]
