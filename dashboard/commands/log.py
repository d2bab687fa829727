"""`pumpledger log`: store one visit, with its capture or a meter's average amps."""

from __future__ import annotations

import argparse
import json
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dashboard.commands.analyse import add_capture_options, read_and_measure, zero_checked
from dashboard.words.terminal import tell, tell_json
from ingest.errors import ASK_FACTOR, AnswerNeeded, CaptureRefused, EntryRefused, Question
from ingest.visit.choices import (
    choices_of,
    corrected,
    meant_by_yes,
    says_yes,
    settled_by,
    typed_anew,
)
from ingest.vocabulary import (
    CHECK_RESULTS,
    DELIVERY_AT,
    PART_FOUND,
    PARTS,
    REASONS,
    STATES,
    SUPPLY_AT,
    WORK,
)

if TYPE_CHECKING:
    from analytics.judging.verdict import Verdict
    from analytics.scheduling.in_the_bay import BayDecision
    from ingest.ledger.clamps import Clamp
    from ingest.reading import Reading
    from ingest.visit.entry import VisitEntry
    from ingest.visit.logging_visit import LoggedVisit

EXAMPLE = 'pumpledger log demo/fleet/captures/first.csv --unit 214 --odometer "88412 mi" --supply-v 13.6'


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's own options."""
    parser.add_argument("file", nargs="?", type=Path, metavar="FILE", help="the capture")
    parser.add_argument("--meter-a", metavar="A", help="a meter's average amps, instead of FILE")
    add_capture_options(parser)
    visit = parser.add_argument_group("the visit")
    visit.add_argument(
        "--unit", required=True, metavar="U", help="the vehicle's number, as written: 007 is not 7"
    )
    visit.add_argument("--odometer", default="", metavar='"88412 mi"',
                       help="with its unit, mi or km; needed, unless --hours is given")  # fmt: skip
    visit.add_argument("--date", metavar="D", help="YYYY-MM-DD (default: today here)")
    visit.add_argument("--position", metavar="P", help="which pump, where the unit has several")
    visit.add_argument("--serial", metavar="S", help="the pump's serial number")
    visit.add_argument("--pump-type", metavar="T", help="its part number, for a pump new to the ledger")
    visit.add_argument("--hours", type=float, metavar="H", help="engine hours")
    visit.add_argument("--reason", metavar="R",
                       help=f"{_either(REASONS)} (default: pm; follow-up for a check without a current, "
                       "which moves no planned stop)")  # fmt: skip
    visit.add_argument("--state", metavar="S", help=_either(STATES))
    visit.add_argument("--fuel", metavar="F", help="fuel in the tank, such as E10, diesel or LPG")
    visit.add_argument("--supply-v", metavar="V", help="volts at the pump under load")
    visit.add_argument("--supply-v-at", metavar="W", help=f"where the volts were read: {_either(SUPPLY_AT)}")
    visit.add_argument("--drop-supply-v", metavar="V", help="loaded voltage drop of the supply side")
    visit.add_argument("--drop-ground-v", metavar="V", help="loaded voltage drop of the ground side")
    visit.add_argument("--fuel-pressure", metavar='"58 psi"', help="with its unit: psi, bar or kPa")
    visit.add_argument("--fuel-temp", metavar="25C", help="with its unit: C or F")
    visit.add_argument("--fuel-level-pct", type=float, metavar="L", help="tank level in percent")
    visit.add_argument("--delivery", metavar='"1.2 L/min"', help="measured delivery, with its unit")
    visit.add_argument(
        "--delivery-at", metavar="H", help=f"how it was measured: {_either(DELIVERY_AT)} (free flow)"
    )
    visit.add_argument(
        "--pressure-hold", metavar='"50 psi"', help="pressure still held some minutes after the pump stopped"
    )
    visit.add_argument("--clamp", metavar="ID", help="which clamp or meter")
    visit.add_argument("--clamp-point", metavar="TEXT", help="where it was clamped")
    visit.add_argument("--technician", metavar="T", help="who took the capture, by name or initials")
    visit.add_argument("--note", metavar="TEXT", help="what else was seen, in words")
    visit.add_argument("--photo", action="append", default=[], type=Path, metavar="FILE",
                       help="a photo of it, JPEG, PNG or WebP up to 10 MB; repeatable")  # fmt: skip
    visit.add_argument("--done", action="append", default=[], metavar="WORK",
                       help=f"work done: {_either(WORK)} (filter_kept: it stayed in at a pump change); "
                       "repeatable")  # fmt: skip
    visit.add_argument("--confirm", action="append", default=[], type=_answer, metavar='CODE="WHY"',
                       help="the reason an entry in question is right; repeatable")  # fmt: skip
    visit.add_argument("--correct", action="append", default=[], metavar="CODE=ANSWER",
                       help="take the value or unit that a question offers instead, or an odometer or "
                       "day typed anew; repeatable")  # fmt: skip
    _add_check_options(parser)
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def _either(words: tuple[str, ...]) -> str:
    return f"{', '.join(words[:-1])} or {words[-1]}"


def _add_check_options(parser: argparse.ArgumentParser) -> None:
    check = parser.add_argument_group("what was examined, and what a check came to")
    for part in PARTS:
        check.add_argument(f"--{part.replace('_', '-')}", metavar="X", help=_either(PART_FOUND))
    check.add_argument("--check-result", metavar="R", help=_either(CHECK_RESULTS))
    check.add_argument(
        "--closes", metavar="VISIT", help="the complaint it closes: that visit's ref or number"
    )


def _answer(text: str) -> tuple[str, str]:
    code, equals, reason = text.partition("=")
    if not equals or not reason.strip():
        raise argparse.ArgumentTypeError(f'{text!r}: give the question\'s code and the reason, CODE="WHY"')
    return code.strip(), reason.strip()


def run(args: argparse.Namespace) -> int:
    """Store the visit; 1 when a question is open."""
    from ingest.author import operating_system_user
    from ingest.ledger.clamps import read_as
    from ingest.readers.capture_file import parse_probe
    from ingest.visit.clamp_factor import scaled
    from ingest.visit.logging_visit import known_before_measuring, log_visit

    if args.file is not None and args.meter_a is not None:
        tell("Give a capture FILE or --meter-a, one of the two.", aside=True)
        return 2
    entry = _entry(args)
    probe, args.channel = read_as(_clamp(args.ledger, entry.clamp), entry.probe, args.channel)
    if args.probe is None and probe:
        args.probe = parse_probe(probe)
        entry = replace(entry, probe=probe)
    if args.file is None and args.meter_a is None and not entry.examined:
        tell("Give a capture FILE, --meter-a, or what a check found.", aside=True)
        return 2
    capture = reading = None
    if args.file is not None:
        known = known_before_measuring(args.ledger, entry)
        try:
            capture, reading = read_and_measure(args.file, args, known)
        except CaptureRefused as refused:
            if refused.code in ASK_FACTOR and (clamps := _clamps_offered(args.ledger, entry.clamp)):
                raise CaptureRefused(refused.code, f"{refused.text} {clamps}") from refused
            raise
    answers, correct = dict(args.confirm), list(args.correct)
    while True:
        try:
            logged = log_visit(args.ledger, entry, capture, reading, answers, author=operating_system_user())
            break
        except AnswerNeeded as needed:
            put_right = _put_right(entry, needed, answers, correct, _fleet_distance_unit(args.ledger))
            if put_right is None:
                return _ask(needed, args.json)
            entry, times = put_right
            if capture is not None:  # another unit is another pump to be measured as
                from ingest.measuring.measurement import measure

                known = known_before_measuring(args.ledger, entry)
                if entry.probe and times is not None:
                    args.probe = parse_probe(entry.probe)
                    capture, reading = read_and_measure(args.file, args, known)
                    continue
                capture = capture if times is None else scaled(capture, times)
                reading = measure(capture, known)
    for path in args.photo:
        _keep_photo(args.ledger, logged.visit_id, path)
    _show(args, logged, reading)
    return 0


def _keep_photo(ledger: Path, visit_id: int, path: Path) -> None:
    from ingest.author import operating_system_user
    from ingest.visit.photos import add_photo

    try:
        data = path.read_bytes()
    except OSError as error:
        raise EntryRefused("no-such-file", f"--photo {path} can't be read: {error.strerror}.") from error
    add_photo(ledger, visit_id, path.name, data, author=operating_system_user())


def _clamp(ledger: Path, name: str | None) -> Clamp | None:
    """Return what is on record of the clamp named, if anything."""
    from ingest.ledger.clamps import clamp_of
    from ingest.ledger.connection import open_ledger

    if name is None or not ledger.exists():
        return None
    with open_ledger(ledger) as connection:
        return clamp_of(connection, name)


def _clamps_offered(ledger: Path, named: str | None) -> str:
    """Return how a clamp on record answers for its factor, "" where none does."""
    from ingest.ledger.clamps import factors
    from ingest.ledger.connection import open_ledger

    if not ledger.exists():
        return ""
    if named:
        return f"Clamp {named} has no factor on record: pumpledger clamp {named} --factor 100mV/A keeps one."
    with open_ledger(ledger) as connection:
        known = factors(connection)
    told = " or ".join(f"--clamp {name} ({factor})" for name, factor in known.items())
    return f"A clamp on record says it too: {told}." if told else ""


def _put_right(
    entry: VisitEntry, needed: AnswerNeeded, answers: dict[str, str], correct: list[str], own: str | None
) -> tuple[VisitEntry, float | None] | None:
    """Return the entry as an answer to the first such question puts it, and what its current is to be
    multiplied by; None where none was given.

    A bare yes takes what the question asks for. Each answer is taken once. own: the unit of a bare distance.
    """
    for question in needed.questions:
        offers = choices_of(question)
        asked_for = [text for text in correct if text.partition("=")[0] == question.code]
        if asked_for:
            correct.remove(asked_for[0])
            key = asked_for[0].partition("=")[2]
            meant = [c for c in offers if c.changes and key in ("", c.key)]
            if meant:
                return corrected(entry, question, meant[0]), meant[0].times
            if key[:1].isdigit() and (anew := typed_anew(entry, question, key, own)) is not None:
                return anew, None
            keys = ", ".join([*(c.key for c in offers if c.changes), *_typed_as(question)]) or "none"
            raise EntryRefused("no-such-answer", f"--correct {asked_for[0]}: its answers are: {keys}.")
        yes = meant_by_yes(question)
        if yes is not None and yes.changes and says_yes(answers.get(question.code, "")):
            del answers[question.code]
            return corrected(entry, question, yes), yes.times
    return None


def _typed_as(question: Question) -> list[str]:
    """Return how the right value is typed on the command line, where it can be."""
    return {"odometer": ['"88412 mi"'], "date": ["2026-03-31"]}.get(question.field, [])


def _entry(args: argparse.Namespace) -> VisitEntry:
    from dashboard.parts.entry_form import entry_from
    from ingest.dates import read_day

    if not args.odometer.strip() and args.hours is None:
        raise EntryRefused(
            "odometer-missing",
            "--odometer is missing: give it with its unit, like 88412 mi; for what runs by the hour, --hours"
            " will do.",
        )
    typed = vars(args) | {
        "visited_on": read_day(args.date, field="--date") if args.date is not None else None,
        "zero_checked": zero_checked(args),
        "probe": _probe_text(args.probe),
    }
    typed["reason"] = args.reason or "pm"
    unit = _fleet_distance_unit(args.ledger)
    entry = entry_from(typed, distance_unit=unit, called=lambda field: f"--{field.replace('_', '-')}")
    check = args.file is None and args.meter_a is None and entry.examined
    return entry if args.reason or not check else replace(entry, reason="follow-up")


def _probe_text(volts_per_amp: float | None) -> str | None:
    return None if volts_per_amp is None else f"{1000 * volts_per_amp:g}mV/A"


def _fleet_distance_unit(ledger: Path) -> str | None:
    """Return the unit this fleet has set for distances, or None: then each entry must say its own."""
    from ingest.ledger.connection import open_ledger
    from ingest.ledger.settings import settings_chosen

    if not ledger.exists():
        return None
    with open_ledger(ledger) as connection:
        return settings_chosen(connection).get("distance_unit")


def _ask(needed: AnswerNeeded, as_json: bool) -> int:
    if as_json:
        tell(json.dumps({"stored": False, "questions": [asdict(q) for q in needed.questions]}))
    tell("Not stored yet:", aside=True)
    for question in needed.questions:
        tell(f"  {question.text}", aside=True)
        for choice in choices_of(question):
            if choice.changes:
                tell(f"    {choice.label}: --correct {question.code}={choice.key}", aside=True)
            elif choice.on_yes:
                tell(f"    {choice.label}: --confirm {question.code}=yes", aside=True)
        for written in _typed_as(question):
            tell(f"    if it is mistyped, the right one: --correct {question.code}={written}", aside=True)
        if not settled_by(question, "yes"):
            tell(f'    if it is right: --confirm {question.code}="why it is right"', aside=True)
    return 1


def _show(args: argparse.Namespace, logged: LoggedVisit, reading: Reading | None) -> None:
    from analytics.judging.verdict import judge_visit
    from dashboard.words.reading import reading_lines, verdict_lines
    from ingest.ledger.connection import open_ledger

    with open_ledger(args.ledger) as connection:
        verdict = judge_visit(connection, logged.visit_id)
    decision = _decision(args.ledger, logged.visit_id)
    if args.json:
        tell_json(_facts(logged, reading, verdict, decision))
        return
    tell(logged.text)
    lines = reading_lines(reading, verdict) if reading is not None else verdict_lines(verdict)
    if decision is not None:
        lines = [*lines, decision.text, *(f"- {step}" for step in decision.steps)]
    lines = [*lines, *_warranty(args.ledger, logged.visit_id, decision)]
    tell("\n".join(f"  {line}" for line in lines))


def _warranty(ledger: Path, visit_id: int, decision: BayDecision | None) -> list[str]:
    """Return what is on hold, and how the warranty stands where the pump may come off now."""
    from datetime import date

    from dashboard.data.queries import ask, settings
    from dashboard.words.warranty import warranty_line
    from ingest.ledger.connection import open_ledger
    from ingest.visit.holds import holds_on_pump
    from ingest.visit.warranty import warranty_of

    pump_id = int(ask(ledger, "pump_of_visit", visit_id=visit_id)["pump_id"].iloc[0])
    with open_ledger(ledger) as connection:
        said = holds_on_pump(connection, pump_id)
        if decision is not None and decision.p_change > 0:
            line = warranty_line(
                warranty_of(connection, pump_id), settings(ledger)["distance_unit"], date.today()
            )
            said += [line] if line else []
    return said


def _decision(ledger: Path, visit_id: int) -> BayDecision | None:
    """Return what to do while the vehicle stands there; None for a visit of another day than the newest."""
    from analytics.scheduling.in_the_bay import decide_after

    return decide_after(ledger, visit_id)


def _facts(
    logged: LoggedVisit, reading: Reading | None, verdict: Verdict, decision: BayDecision | None
) -> dict[str, Any]:
    return {
        "stored": logged.stored,
        "visit": logged.visit_id,
        "capture": logged.capture_hash,
        "text": logged.text,
        "confirmed": [q.code for q in logged.confirmed],
        "reading": asdict(reading) if reading is not None else None,
        "verdict": asdict(verdict),
        "decision": asdict(decision) if decision is not None else None,
    }
