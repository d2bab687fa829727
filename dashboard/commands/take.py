"""`pumpledger take`: a morning's captures in, matched to units; the rest wait in the tray."""

from __future__ import annotations

import argparse
import time
from collections import Counter
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from dashboard.commands.analyse import read_by
from dashboard.shell.where_measured import add_where, where_of
from dashboard.words.taking import state_unsaid
from dashboard.words.terminal import tell, tell_json
from ingest.errors import EntryRefused, PumpledgerError
from ingest.harmless import as_file_name
from ingest.vocabulary import STATES

if TYPE_CHECKING:
    from ingest.author import Author
    from ingest.intake.tray import Arrival, Named
    from ingest.intake.watching import Watch
    from ingest.visit.logging_visit import LoggedVisit

EXAMPLE = "pumpledger take captures/monday --clamp blue --store"
LOOK_EVERY_S = 1.0
AT_ONCE = 100  # files of a watched folder that are taken together, so that each answer comes before long
OF_MANY = 3  # files with the same remark: it is told once for all
HANG_ON_THE_PUMP = ("speed-undecided", "speed-refused")  # which is known once they are stored


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument("folder", nargs="?", type=Path, metavar="FOLDER", help="folder of captures")
    parser.add_argument("--clamp", metavar="ID", help="the clamp they were taken with, if none is named")
    parser.add_argument("--sample-rate", type=read_by("parse_rate"), metavar="HZ",
                        help="samples a second, where the files don't say")  # fmt: skip
    parser.add_argument("--full-scale", type=read_by("parse_full_scale"), metavar="A",
                        help="how many amperes full scale of audio files is")  # fmt: skip
    parser.add_argument("--state", choices=STATES,
                        help="how the engine ran in what is stored, where a sidecar doesn't say")  # fmt: skip
    parser.add_argument("--store", action="store_true", help="store those whose unit is told as visits")
    parser.add_argument("--watch", action="store_true", help="go on looking: files are taken once they rest")
    parser.add_argument("--name", action="append", default=[], type=_named, metavar="N=UNIT",
                        help="store file N of the tray as a visit of UNIT; repeatable")  # fmt: skip
    parser.add_argument("--drop", action="append", default=[], type=_named, metavar='N="WHY"',
                        help="let file N of the tray go, with the reason; repeatable")  # fmt: skip
    parser.add_argument("--by", metavar="NAME", help="who takes them; default: the user of this machine")
    add_where(parser)
    parser.add_argument("--json", action="store_true", help="print one JSON object a file")


def _named(text: str) -> tuple[int, str]:
    number, equals, said = text.partition("=")
    if not equals or not number.strip().isdecimal() or not said.strip():
        raise argparse.ArgumentTypeError(
            f"{text!r}: give the file's number in the tray, =, and the word on it"
        )
    return int(number), said.strip()


def run(args: argparse.Namespace) -> int:
    """Take the folder, or settle what waits; 1 if a file could not be stored as asked."""
    from dashboard.shell.progress import progress_bar
    from ingest.author import operating_system_user
    from ingest.intake.taking import left_alone, take_folder
    from ingest.intake.tray import Named, drop

    author = operating_system_user().signing(args.by)
    if args.folder is None and (args.watch or args.store):
        tell("Give the FOLDER to take.", aside=True)
        return 2
    for tray_id, why in args.drop:
        drop(args.ledger, tray_id, why, author=author)
    more = {"state": args.state} if args.state else {}
    failed = _store(args.ledger, [Named(n, unit, more=more) for n, unit in args.name], author)
    if args.folder is None:
        _show_waiting(args.ledger, args.json)
        return 1 if failed else 0
    if args.watch:
        return _watch(args, author)
    arrivals = take_folder(
        args.ledger,
        args.folder,
        author=author,
        clamp=args.clamp,
        sample_rate=args.sample_rate,
        full_scale=args.full_scale,
        progress=progress_bar("capture"),
        where=where_of(args),
    )
    _show(arrivals, args.json)
    _judge_again(args.ledger, arrivals)
    if alone := left_alone(args.folder):
        tell(alone, aside=True)
    if arrivals and not args.json:
        _say_if_no_units(args.ledger)
        _say_if_no_state(arrivals, args.state)
    if args.store:
        failed |= _store_matched(args.ledger, arrivals, args.state, author)
    elif any(a.status == "matched" for a in arrivals) and not args.json:
        tell("Stored once confirmed: --store, or the page Tray.", aside=True)
    return 1 if failed else 0


def _watch(args: argparse.Namespace, author: Author) -> int:
    """Look until Ctrl+C; a folder that is away for a while, or a busy ledger, is said once."""
    from ingest.intake.taking import capture_files, left_alone
    from ingest.intake.watching import Watch

    watch, trouble = Watch(), ""
    capture_files(args.folder)  # one that was never there is refused
    if alone := left_alone(args.folder):
        tell(alone, aside=True)
    tell(f"Watching {args.folder}; Ctrl+C ends it.", aside=True)
    while True:
        try:
            _take_ready(args, watch, author)
            trouble = ""
        except PumpledgerError as error:
            if error.text != trouble:
                tell(f"{error.text} Looking again.", aside=True)
            trouble = error.text
        time.sleep(LOOK_EVERY_S)


def _take_ready(args: argparse.Namespace, watch: Watch, author: Author) -> None:
    from ingest.intake.taking import capture_files, take_folder, too_busy

    ready = watch.ready(capture_files(args.folder), time.monotonic())[:AT_ONCE]
    if not ready:
        return
    arrivals = take_folder(
        args.ledger,
        args.folder,
        author=author,
        clamp=args.clamp,
        sample_rate=args.sample_rate,
        full_scale=args.full_scale,
        files=ready,
        where=where_of(args),
    )
    busy = {a.file_name for a in arrivals if too_busy(a.result)}
    for path in ready:
        if as_file_name(path.name) not in busy:  # those are looked at again
            watch.taken(path)
    if came := [a for a in arrivals if a.status != "known"]:
        _show(came, args.json)
        _judge_again(args.ledger, came)
        if not args.json:
            _say_if_no_state(came, args.state)
    if args.store:
        _store_matched(args.ledger, arrivals, args.state, author)


def _say_if_no_units(ledger: Path) -> None:
    from ingest.intake.taking import has_units

    if not has_units(ledger):
        tell(
            "No unit with a pump is on record yet: add them (pumpledger add unit 214 pump_type=FP-10, or a"
            " fleet folder), then take these again.",
            aside=True,
        )


def _say_if_no_state(arrivals: Iterable[Arrival], state: str | None) -> None:
    matched = [a for a in arrivals if a.status == "matched"]
    unsaid = 0 if state else sum(not a.match.entry.get("state") for a in matched)
    if unsaid:
        from dashboard.words.formats import count

        of_files = state_unsaid(count(unsaid, "file"))
        tell(f"{of_files}: say it with --state ({' or '.join(STATES)}), or beside the files.", aside=True)


def _judge_again(ledger: Path, arrivals: Iterable[Arrival]) -> None:
    """Say what a visit means that was measured again from a longer copy of its file."""
    for visit_id in [a.visit_id for a in arrivals if a.visit_id is not None]:
        _judge(ledger, visit_id)


def _store_matched(ledger: Path, arrivals: Iterable[Arrival], state: str | None, author: Author) -> bool:
    from ingest.intake.tray import Named

    return _store(
        ledger,
        [
            Named(a.tray_id, a.match.unit, a.match.position, {"state": a.match.entry.get("state") or state})
            for a in arrivals
            if a.status == "matched" and a.tray_id is not None and a.match.unit is not None
        ],
        author,
    )


def _store(ledger: Path, named: list[Named], author: Author) -> bool:
    """Store files as visits of their units, and say what each means; returns whether any failed."""
    from ingest.intake.tray import store_named

    if not named:
        return False

    def say(logged: LoggedVisit) -> None:
        tell(logged.text, aside=True)
        _judge(ledger, logged.visit_id)

    _, failed, shifts = store_named(ledger, named, author=author, each=say)
    for shift in shifts:
        tell(shift.text, aside=True)
    for tray_id, why in failed.items():
        tell(f"{tray_id}: {why}", aside=True)
    return bool(failed)


def _judge(ledger: Path, visit_id: int) -> None:
    from analytics.judging.verdict import judge_visit
    from ingest.ledger.connection import open_ledger

    with open_ledger(ledger) as connection:
        verdict = judge_visit(connection, visit_id)
    tell(f"       {verdict.text}", aside=True)
    if verdict.action != "none":
        tell(f"       Next test. {verdict.next_test}", aside=True)


def _show(arrivals: list[Arrival], as_json: bool) -> None:
    if as_json:
        for arrival in arrivals:
            tell_json(arrival.as_dict())
        return
    if not arrivals:
        tell("There are no captures in it.")
        return
    remarks = [_remarks(arrival) for arrival in arrivals]
    times = Counter(remark for these in remarks for remark in these)
    for arrival, these in zip(arrivals, remarks, strict=True):
        told = arrival.as_dict()
        by = f"by {told['matched_by']}" if told["matched_by"] else ""
        reading = arrival.result.reading
        figures = f"{reading.mean_a:6.2f} A" if reading and reading.mean_a is not None else ""
        figures += f"{reading.rpm:8,.0f} rpm" if reading and reading.rpm is not None else ""
        number = told["tray_id"] or ""
        tell(
            f"{number:>5}  {told['file']:<28.40} {told['status']:<8} {told['unit'] or '':<10} {by:<11} "
            f"{told['captured_on']} {figures}"
        )
        for text in (told["reason"], *(remark for remark in these if times[remark] < OF_MANY)):
            if text:
                tell(f"       {text}")
    for remark, files in times.items():
        if files >= OF_MANY:
            tell(f"{files} files: {remark}", aside=True)


def _remarks(arrival: Arrival) -> list[str]:
    """Return what makes a reading worse than it could be, told while the vehicle still stands there."""
    reading = arrival.result.reading
    notes = reading.notes if reading else ()
    return [note.text for note in notes if note.level != "info" and note.code not in HANG_ON_THE_PUMP]


def _show_waiting(ledger: Path, as_json: bool) -> None:
    from dashboard.data.queries import ALL_ROWS, ask

    if not ledger.exists():
        raise EntryRefused("no-ledger", f"There is no ledger at {ledger}; take a FOLDER first.")
    rows = ask(ledger, "tray", rows=ALL_ROWS, skip=0, find="")
    for row in rows.drop(columns=["picture", "found"]).to_dict("records"):
        if as_json:
            tell_json(row)
            continue
        unit = row["unit"] if isinstance(row["unit"], str) else ""
        waits = f"{row['age_days']} days"
        tell(f"{row['tray_id']:>5}  {row['file_name']:<28.40} {row['status']:<8} {unit:<10} {waits}")
        if isinstance(row["reason"], str):
            tell(f"       {row['reason']}")
    if not len(rows) and not as_json:
        tell("The tray is empty.")
