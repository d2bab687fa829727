"""`pumpledger analyse`: measure captures and judge them; store nothing."""

from __future__ import annotations

import argparse
import json
import math
from collections.abc import Callable
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dashboard.words.terminal import tell
from ingest.errors import PumpledgerError, faults_refused, for_reading
from ingest.vocabulary import COMMANDED, MOTORS, SUPPLIES

if TYPE_CHECKING:
    from ingest.capture import Capture
    from ingest.known_pump import KnownPump
    from ingest.reading import Reading

SLOWEST_RPM, FASTEST_RPM = 10.0, 1e6  # beyond any motor: only a slip is refused
HIGHEST_SPECIFIED_A = 1000.0  # likewise
POLES = (2, 4, 6, 8, 10, 12)
FEWEST_SEGMENTS, MOST_SEGMENTS = 2, 200  # as in pump_types.csv
EXAMPLE = "pumpledger analyse demo/fleet/captures/*.csv --spec 4-7 --json"


def add_capture_options(parser: argparse.ArgumentParser) -> None:
    """Add the options that say how a capture file is to be read and measured."""
    probe, rate, scale = (read_by(name) for name in ("parse_probe", "parse_rate", "parse_full_scale"))
    parser.add_argument(
        "--probe", type=probe, metavar="100mV/A", help="the clamp's factor, where the file holds volts"
    )
    parser.add_argument("--channel", metavar="NAME", help="the channel with the pump current")
    parser.add_argument(
        "--sample-rate", type=rate, metavar="HZ", help="samples a second, where the file doesn't say"
    )
    parser.add_argument("--full-scale", type=scale, metavar="10A", help="amps at full scale, for WAV files")
    parser.add_argument("--record", type=int, metavar="K", help="which record of a segmented file")
    parser.add_argument(
        "--segments", type=parse_segments, metavar="N", help="the commutator's number of bars, if known"
    )
    parser.add_argument(
        "--previous-rpm", type=parse_rpm, metavar="RPM", help="this pump's speed at the last visit"
    )
    parser.add_argument("--motor", choices=MOTORS, help="the pump's motor, where its type doesn't say")
    parser.add_argument("--supply", choices=SUPPLIES, help="its supply, where its type doesn't say")
    parser.add_argument("--poles", type=int, choices=POLES, help="its magnet poles, if known: most have 2")
    parser.add_argument("--commanded", choices=COMMANDED, help="speed asked of a two-speed supply")
    parser.add_argument("--duty-pct", type=parse_duty, metavar="D", help="commanded duty of a pulsed supply")
    parser.add_argument(
        "--zero-checked", action=argparse.BooleanOptionalAction,
        help="the clamp was zeroed before it went on, or it was not; without either nobody knows",
    )  # fmt: skip


def read_by(name: str) -> Callable[[str], Any]:
    """Return an argparse type that calls `capture_file.<name>`, imported only when the option is given."""

    def read(text: str) -> Any:
        from ingest.readers import capture_file

        try:
            return getattr(capture_file, name)(text)
        except PumpledgerError as error:
            raise argparse.ArgumentTypeError(error.text) from error

    return read


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's own options."""
    parser.add_argument("files", nargs="+", type=Path, metavar="FILE", help="the captures, one or many")
    add_capture_options(parser)
    parser.add_argument(
        "--spec", type=parse_specification, metavar="LOW-HIGH", help="specified current in A, such as 4-7"
    )
    parser.add_argument("--json", action="store_true", help="one JSON object a line, a file each")


def run(args: argparse.Namespace) -> int:
    """Measure every file given; 1 if any was refused."""
    refused = 0
    for path in args.files:
        try:
            with faults_refused(path.name):
                line = _measured(path, args)
        except PumpledgerError as error:
            refused += 1
            said = error.text.removeprefix(f"{path.name}: ")
            tell(for_reading(f"{path}: {said}"), aside=True)
            line = json.dumps({"file": str(path), "refused": {"code": error.code, "text": error.text}})
            if not args.json:
                continue
        tell(line)
    return 1 if refused else 0


def parse_segments(text: str) -> int:
    """Return a number of bars; raises ArgumentTypeError for what no commutator has."""
    if not text.isdecimal() or not FEWEST_SEGMENTS <= int(text) <= MOST_SEGMENTS:
        raise argparse.ArgumentTypeError(
            f"{text!r}: give the commutator's number of bars, {FEWEST_SEGMENTS} to {MOST_SEGMENTS}, such as 8"
        )
    return int(text)


def parse_duty(text: str) -> float:
    """Return a duty of 0 to 100 %; raises ArgumentTypeError for anything else."""
    try:
        duty_pct = float(text.removesuffix("%"))
    except ValueError:
        duty_pct = math.nan
    if not 0 <= duty_pct <= 100:
        raise argparse.ArgumentTypeError(f"{text!r}: give a duty of 0 to 100 percent, such as 60")
    return duty_pct


def told_of_pump(args: argparse.Namespace) -> dict[str, Any]:
    """Return what the options say of the pump and how it was run, by the names of KnownPump."""
    told = {name: getattr(args, name) for name in ("motor", "supply", "poles", "commanded", "duty_pct")}
    return {name: value for name, value in told.items() if value is not None}


def zero_checked(args: argparse.Namespace) -> str | None:
    """Return whether the clamp was zeroed, as a visit has it; None where nobody said."""
    return {True: "yes", False: "no", None: None}[args.zero_checked]


def parse_rpm(text: str) -> float:
    """Return a speed above 0; raises ArgumentTypeError for anything else."""
    try:
        rpm = float(text)
    except ValueError:
        rpm = math.nan
    if not SLOWEST_RPM <= rpm <= FASTEST_RPM:
        raise argparse.ArgumentTypeError(f"{text!r}: give a speed in revolutions a minute, such as 5800")
    return rpm


def parse_specification(text: str) -> dict[str, Any]:
    """Return current_low_a and current_high_a from "4-7"; raises ArgumentTypeError for anything else."""
    low, dash, high = text.replace("–", "-").partition("-")
    try:
        low_a, high_a = float(low), float(high)
    except ValueError:
        low_a = high_a = math.nan
    if not dash or not 0 < low_a < high_a <= HIGHEST_SPECIFIED_A:
        raise argparse.ArgumentTypeError(f"{text!r}: give two currents in A, low before high, such as 4-7")
    return {"current_low_a": low_a, "current_high_a": high_a}


def read_and_measure(
    path: Path, args: argparse.Namespace, known: KnownPump | None = None
) -> tuple[Capture, Reading]:
    """Return (capture, reading) of one file, read and measured as the options say; they go before `known`."""
    from ingest.known_pump import UNKNOWN_PUMP
    from ingest.measuring.measurement import measure
    from ingest.readers.capture_file import read_capture

    known = replace(known or UNKNOWN_PUMP, **told_of_pump(args))
    if args.segments:
        known = replace(known, segments=args.segments)
    if args.previous_rpm:  # as told, at volts unknown
        known = replace(known, previous_rpm=args.previous_rpm, previous_supply_v=None)
    with faults_refused(path.name):
        capture = read_capture(
            path,
            channel=args.channel,
            probe=args.probe,
            sample_rate_hz=args.sample_rate,
            full_scale=args.full_scale,
            record=args.record,
        )
        return capture, measure(capture, known)


def _measured(path: Path, args: argparse.Namespace) -> str:
    from analytics.judging.verdict import judge_reading
    from dashboard.words.reading import reading_lines

    _, reading = read_and_measure(path, args)
    said = told_of_pump(args) | {"zero_checked": zero_checked(args)}
    verdict = judge_reading(reading, specification=args.spec, context=said)
    if not args.json:
        return "\n".join([str(path), *(f"  {line}" for line in reading_lines(reading, verdict))])
    cited = {
        "rule": verdict.rule,
        "text": verdict.text,
        "values": verdict.values,
        "next_test": verdict.next_test,
        "action": verdict.action,
    }
    return json.dumps(
        {"file": str(path)} | asdict(reading) | {"verdict": cited}, allow_nan=False, default=float
    )
