"""The page of commands, from their parsers: `python -m dashboard.commands.commands_page`."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path

from dashboard.cli import COMMANDS, command_parser

OUTPUT = Path(__file__).parents[2] / "docs" / "commands.md"
GENERAL = ("--help", "--ledger", "--verbose")  # of every command: said once
HEAD = """# Commands

Generated from the parsers in `dashboard/commands` by `python -m dashboard.commands.commands_page`; edit
those, not this page. From a clone each is run as `uv run pumpledger …`. `pumpledger COMMAND --help` says the
same.

A command ends with 0 when it is done, 1 when it was refused, after one sentence on standard error that says
what, where and what to do, and 2 when an option is wrong. Options are written out in full, never shortened.
`--json`, where a command has it, is for other programs.

| command | what it is for |
|---|---|
"""
EVERY = """
## Options of every command

They may stand before the command or after it; one after it counts.

| option | meaning |
|---|---|
"""


def commands_page() -> str:
    """Return the page: each command with what it is for, one example and every option with its help."""
    parsers = parsers_by_command()
    listed = "".join(f"| [{name}](#{name}) | {summary} |\n" for name, summary in COMMANDS.items())
    first = next(iter(parsers.values()))
    general = "".join(_line(action) for _, action in options(first) if _is_general(action))
    return HEAD + listed + EVERY + general + "".join(_section(*item) for item in parsers.items())


def parsers_by_command() -> dict[str, argparse.ArgumentParser]:
    """Return each command's own parser, with all of its options."""
    whole = command_parser(COMMANDS)
    held = next(action for action in whole._actions if isinstance(action, argparse._SubParsersAction))
    return {name: held.choices[name] for name in COMMANDS}


def options(parser: argparse.ArgumentParser) -> Iterator[tuple[str, argparse.Action]]:
    """Yield each argument and option with the title of its group, "" where it has none."""
    usual = (parser._positionals, parser._optionals)
    for group in parser._action_groups:
        for action in group._group_actions:
            yield "" if group in usual else group.title or "", action


def _section(name: str, parser: argparse.ArgumentParser) -> str:
    example = import_module(f"dashboard.commands.{name}").EXAMPLE
    parts = [f"\n## {name}\n\n{parser.description}\n\n    {example}\n"]
    under = None
    for title, action in options(parser):
        if _is_general(action):
            continue
        if title != under:
            heading = f"\n{title[0].upper()}{title[1:]}\n" if title else ""
            parts.append(f"{heading}\n| option | meaning |\n|---|---|\n")
            under = title
        parts.append(_line(action))
    return "".join(parts)


def _is_general(action: argparse.Action) -> bool:
    return any(option in GENERAL for option in action.option_strings)


def _line(action: argparse.Action) -> str:
    """Return an option as a row: how it is written, what it means, whether it has to be given."""
    needed = action.option_strings and action.required
    meaning = (action.help or "").replace("%%", "%").replace("|", "/")
    return f"| {spelled(action)} | {'**needed**: ' if needed else ''}{meaning} |\n"


def spelled(action: argparse.Action) -> str:
    """Return an argument or option as it is typed, such as `--probe 100mV/A`."""
    name = action.metavar if isinstance(action.metavar, str) else None
    value = name or (
        "{" + ",".join(map(str, action.choices)) + "}" if action.choices else action.dest.upper()
    )
    if action.nargs == 0:
        value = ""
    elif action.nargs == argparse.OPTIONAL:
        value = f"[{value}]"
    elif action.nargs in (argparse.ONE_OR_MORE, argparse.ZERO_OR_MORE):
        value = f"{value} …"
    return f"`{' '.join([', '.join(action.option_strings), value]).strip()}`"


if __name__ == "__main__":
    OUTPUT.write_text(commands_page(), encoding="utf-8")
