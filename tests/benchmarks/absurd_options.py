"""Every option and place of every command, given what nobody can have meant: one sentence, or work well done?

The options are those that the parsers know. Each value goes into a command that is sound without it, on a
copy of a small ledger. Wrong is: an error that no sentence stands for, a refusal without a word, codes
that a terminal would obey, pages of text, no end within a minute. What was taken is listed, to be looked at.

    python -m tests.benchmarks.absurd_options [--seconds 800] [--only COMMAND …]
"""

from __future__ import annotations

import argparse
import io
import os
import shutil
import signal
import subprocess
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Iterator
from contextlib import chdir, redirect_stderr, redirect_stdout
from importlib import import_module
from pathlib import Path
from typing import Any
from unittest import mock

from dashboard.cli import COMMANDS, main
from ingest.errors import PumpledgerError
from tests.ledger_fixture import build_ledger, small_capture, write_capture_csv

ABSURD = (
    "", "-1", "nan", "1e308", "99999999999999999999", "²", "x" * 100_000, "\x1b[31mred", "9999-12-31",
    "0001-01-01", "a\u202eb", "=1+1|x",
)  # fmt: skip
SOUND = {
    "analyse": ["c.csv"],
    "log": ["c.csv", "--unit=101", "--odometer=150000 km"],
    "add": ["unit", "999", "depot=North"],
    "labels": ["labels.html"],
    "take": ["captures"],
    "clamp": ["blue"],
    "claim": ["101"],
    "hold": ["FP-10", "--why=seized"],
    "load": ["folder", "--dry-run"],
    "export": ["exported"],
    "backtest": ["--cutoffs=2"],
    "move": ["no.duckdb", "fleet.toml"],
    "forget": ["A. Nobody"],
}
# What an option needs beside it, that its value may be looked at.
BESIDE = {
    "clamp --known": ["--read=5"], "clamp --read": ["--known=5"], "clamp --date": ["--known=5", "--read=5"],
    "claim --on": ["--state=sent"], "claim --amount": ["--state=sent"], "claim --why": ["--state=sent"],
    "questions --as": ["--number=1"], "questions --why": ["--number=1", "--as=value"],
    "plan --on": ["--pin=101"], "plan --pin": ["--on=2026-12-01"], "plan --move": ["--on=2026-12-01"],
    "plan --why": ["--reject=101"], "plan --fitted": ["--done=101"], "plan --odometer": ["--done=101"],
    "plan --serial": ["--done=101"], "cost --source": ["--set=failure_replacement=3000"],
    "cost --from": ["--set=failure_replacement=3000"], "hold --outcome": ["--close=1"],
    "add --by": [], "forget --why": ["--really"], "hold --unit": ["--close=1"],
}  # fmt: skip
LONGEST_S = 60


class TooLong(BaseException):
    """It has not ended within LONGEST_S."""


def places(command: str) -> Iterator[tuple[str, argparse.Action]]:
    """Yield each option and place of a command that takes a value, from its own parser."""
    parser = argparse.ArgumentParser()
    import_module(f"dashboard.commands.{command}").add_arguments(parser)
    for action in parser._actions:
        if action.nargs != 0 and not isinstance(action, argparse._HelpAction):
            yield (action.option_strings or [action.dest])[-1], action


def arguments(command: str, name: str, action: argparse.Action, value: str) -> list[str]:
    """Return a command line that is sound but for this value."""
    sound = SOUND.get(command, [])
    if action.option_strings:
        return [command, *sound, *BESIDE.get(f"{command} {name}", []), f"{name}={value}"]
    there = [i for i, word in enumerate(sound) if not word.startswith("--")]
    all_places = [n for n, a in places(command) if not a.option_strings]
    at = all_places.index(name)
    words = list(sound)
    if at < len(there):
        del words[there[at]]
        words.insert(there[at], value)
        return [command, *[w for w in words if w.startswith("--")], "--", *_placed(words)]
    return [command, *sound, "--", value]


def _placed(words: list[str]) -> list[str]:
    return [word for word in words if not (word.startswith("--") and len(word) > 2)]


def said_of(line: list[str]) -> tuple[str, str]:
    """Run a command; returns "taken", "refused" or what is wrong, and what it said."""
    out, err = io.StringIO(), io.StringIO()

    def end(*_: Any) -> None:
        raise TooLong

    signal.signal(signal.SIGALRM, end)
    signal.alarm(LONGEST_S)
    try:
        with redirect_stdout(out), redirect_stderr(err):
            code = main(line)
    except SystemExit as ended:
        code = ended.code if isinstance(ended.code, int) else 1
    except TooLong:
        return "no end", ""
    except BaseException:
        return "an error without a sentence", "\n".join(
            line[:200] for line in traceback.format_exc().splitlines()[-12:]
        )
    finally:
        signal.alarm(0)
    text = out.getvalue() + err.getvalue()
    if code not in (0, 1, 2):
        return f"code {code}", text[-500:]
    if "\x1b" in text:
        return "codes", repr(text[-500:])
    if "x" * 1000 in text or (code and len(err.getvalue()) > 5_000):
        return "pages of text", text[:300]
    if code and not err.getvalue().strip():
        return "refused without a word", out.getvalue()[-300:]
    return ("refused" if code else "taken"), err.getvalue()


def not_started(*_: Any, **__: Any) -> Any:
    """Stand for a server that would be started."""
    raise PumpledgerError("not-started", "A server would start.")


def place(start: Path, to: Path) -> Path:
    """Put a fresh copy of everything that the commands need."""
    shutil.rmtree(to, ignore_errors=True)
    shutil.copytree(start, to)
    return to / "fleet.duckdb"


def run(folder: Path, commands: list[str], until: float) -> tuple[Counter[str], list[str], list[str]]:
    """Try them all; returns how many went how, what was wrong, and what was taken."""
    start = folder / "start"
    start.mkdir()
    build_ledger(start / "fleet.duckdb", fitted=bool({"rank", "plan", "report"} & set(commands)))
    write_capture_csv(start / "c.csv", small_capture())
    (start / "captures").mkdir()
    shutil.copy(start / "c.csv", start / "captures")
    (start / "folder").mkdir()
    (start / "folder" / "vehicles.csv").write_text("unit\n214\n")
    (start / "fleet.toml").write_text('[server]\nconnection = "host=/nowhere dbname=none"\n')
    went: Counter[str] = Counter()
    wrong: list[str] = []
    taken: list[str] = []
    here = folder / "here"
    for command in commands:
        ledger = place(start, here)
        for name, action in places(command):
            for value in ABSURD:
                if time.monotonic() > until:
                    wrong.append(f"no time left at {command} {name}")
                    return went, wrong, taken
                line = [*arguments(command, name, action, value)]
                line[1:1] = ["--ledger", str(ledger)]
                with chdir(here), mock.patch.object(subprocess, "Popen", not_started if command in (
                    "serve", "demo") else subprocess.Popen):  # fmt: skip
                    how, text = said_of(line)
                went[how] += 1
                shown = f"{command} {name}={value[:30]!r}"
                if how == "taken":
                    taken.append(shown)
                    ledger = place(start, here)
                elif how != "refused":
                    wrong.append(f"{shown}: {how}: {text}")
                    print(wrong[-1], flush=True)
            print(f"{command} {name}: {dict(went)}", flush=True)
    return went, wrong, taken


def report() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=800)
    parser.add_argument("--only", nargs="*", default=list(COMMANDS))
    args = parser.parse_args()
    os.environ.pop("PUMPLEDGER", None)
    with tempfile.TemporaryDirectory() as folder:
        went, wrong, taken = run(Path(folder), args.only, time.monotonic() + args.seconds)
    print(f"{went.total()} values: {dict(went)}; wrong: {len(wrong)}")
    print("taken:", *taken, sep="\n  ")


if __name__ == "__main__":
    report()
