"""The `pumpledger` command: one module per command, imported only when it is called."""

from __future__ import annotations

import argparse
import logging
import os
import sys
from collections.abc import Collection
from importlib import import_module
from pathlib import Path
from typing import Any, NoReturn

from dashboard.words.terminal import tell
from ingest.errors import PumpledgerError, for_reading
from ingest.harmless import harmless
from ingest.ledger.place import real_path

COMMANDS = {
    "demo": "build the demo fleet (once) and open the dashboard on it",
    "analyse": "measure captures, store nothing",
    "log": "store a visit",
    "add": "a unit, pump type, depot or the fleet's own settings, without a folder",
    "labels": "a sheet of QR codes that open Log a visit for a unit",
    "take": "a morning's captures in, matched to units; the rest wait in the tray",
    "clamp": "clamps registered, checked on a known current, studied",
    "claim": "claims for pumps that came off in warranty, and the sheet for one",
    "hold": "a pump type or lot held back; its units and stock closed one by one",
    "load": "bring in a fleet folder; again changes nothing",
    "questions": "what the data leave doubtful, listed and settled",
    "export": "write every table as CSV or Parquet",
    "rank": "pumps by risk",
    "plan": "a replacement schedule: which pump at which planned visit",
    "cost": "policies compared, best age, what was spent",
    "report": "two pages for a month, or what changed since yesterday",
    "backtest": "how past forecasts would have done",
    "serve": "the dashboard",
    "check": "look for damage and orphans",
    "backup": "copy the ledger while it is in use",
    "move": "a ledger from a file to a server, or back",
    "forget": "remove names, or what is older than it is kept",
    "reanalyse": "measure stored waveforms again with today's method",
}

SHOW_FIGURES = ("rank", "plan", "cost", "report")  # of the fleet: said to be invented where it is


def _add_general_options(parser: argparse.ArgumentParser, *, ledger: Any, verbose: Any) -> None:
    """Add the options that every command takes, with these defaults."""
    parser.add_argument(
        "--ledger",
        type=Path,
        default=ledger,
        help="the ledger file (default: $PUMPLEDGER, else pumpledger.duckdb here)",
    )
    parser.add_argument("--verbose", action="store_true", default=verbose, help="log more to stderr")


def _command_in(arguments: list[str]) -> str | None:
    """Return the command named, past any general options before it."""
    before = argparse.ArgumentParser(
        prog="pumpledger", usage="%(prog)s [-h] [--ledger LEDGER] [--verbose] COMMAND ...", add_help=False,
        allow_abbrev=False,
    )  # fmt: skip
    _add_general_options(before, ledger=None, verbose=False)
    before.add_argument("command", nargs="?")
    named: str | None = before.parse_known_args(arguments)[0].command
    return named


class _Parser(argparse.ArgumentParser):
    """Says what is wrong with an option without repeating codes or pages of text."""

    def error(self, message: str) -> NoReturn:
        super().error(for_reading(message))


class _HarmlessFormatter(logging.Formatter):
    """Shows no code that a terminal would obey."""

    def format(self, record: logging.LogRecord) -> str:
        return harmless(super().format(record))


class _HelpFormatter(argparse.RawDescriptionHelpFormatter):
    """Keeps the example at the end of each help text as written."""


def _is_utf8(text: str) -> bool:
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True


def _refuse_no_paths(args: argparse.Namespace) -> None:
    """Raise PumpledgerError for an argument that names a file as no file can be named."""
    given = [one for value in vars(args).values() for one in (value if isinstance(value, list) else [value])]
    for path in given:
        if isinstance(path, Path):
            try:
                path.stat()
            except (FileNotFoundError, NotADirectoryError, PermissionError):
                pass
            except (OSError, ValueError) as error:  # too long, a circle of links, with a zero byte
                why = error.strerror if isinstance(error, OSError) else "it is no name of a file here"
                raise PumpledgerError("bad-path", f"{path}: {why}; give another name.") from error


def command_parser(wanted: Collection[str]) -> argparse.ArgumentParser:
    """Return the parser of all commands; only those wanted are imported and have options of their own."""
    parser = _Parser(
        prog="pumpledger",
        description="Fuel-pump current captures, fleet history, failure risk and replacement planning.",
        epilog="--ledger and --verbose may stand before the command or after it; one after it counts.",
        allow_abbrev=False,
    )
    _add_general_options(
        parser, ledger=Path(os.environ.get("PUMPLEDGER", "pumpledger.duckdb")), verbose=False
    )
    subparsers = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name, summary in COMMANDS.items():
        module = import_module(f"dashboard.commands.{name}") if name in wanted else None
        sub = subparsers.add_parser(
            name,
            help=summary,
            description=summary[0].upper() + summary[1:] + ".",
            epilog=f"example:\n  {module.EXAMPLE}" if module else None,
            formatter_class=_HelpFormatter,
            allow_abbrev=False,
        )
        # Not given after the command, what stands before it (or the default) is left as it is.
        _add_general_options(sub, ledger=argparse.SUPPRESS, verbose=argparse.SUPPRESS)
        if module:
            module.add_arguments(sub)
            sub.set_defaults(run=module.run)
    return parser


def main(argv: list[str] | None = None) -> int:
    """Run one command; returns 0 done, 1 refused, 2 usage."""
    arguments = sys.argv[1:] if argv is None else argv
    if any(not text.isascii() and not _is_utf8(text) for text in arguments):
        print("An argument is not UTF-8 text; rename the file, or type it anew.", file=sys.stderr)
        return 2
    wanted = _command_in(arguments)
    parser = command_parser([wanted] if wanted else [])
    args = parser.parse_args(arguments)
    on_stderr = logging.StreamHandler(sys.stderr)
    on_stderr.setFormatter(_HarmlessFormatter("%(message)s"))
    logging.basicConfig(level=logging.DEBUG if args.verbose else logging.WARNING, handlers=[on_stderr])
    try:
        real_path(args.ledger)
        _refuse_no_paths(args)  # before anything is begun
        code = args.run(args)
        if args.command in SHOW_FIGURES and code == 0:
            from dashboard.shell.invented import note_of

            if note := note_of(args.ledger):
                tell(note, aside=True)
        return code
    except PumpledgerError as error:
        tell(error.text, aside=True)
        return 1
    except BrokenPipeError:  # the reader of our output (head, less) has gone
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    except KeyboardInterrupt:
        return 130


if __name__ == "__main__":
    sys.exit(main())
