"""Options that narrow a list to depots, pump types and vehicle classes."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

from ingest.errors import EntryRefused

SHOWN = 12  # names told where one is not there
NAMES = {"depot": "D", "type": "T", "class": "C"}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add --depot, --type and --class; each may be given several times."""
    for name, letter in NAMES.items():
        what = {"depot": "depot", "type": "pump type", "class": "vehicle class"}[name]
        parser.add_argument(
            f"--{name}", dest=f"only_{name}", action="append", default=[], metavar=letter,
            help=f"only this {what}; repeatable",
        )  # fmt: skip


def chosen(args: argparse.Namespace) -> dict[str, Sequence[str]]:
    """Return what was chosen, by name; raises EntryRefused for a name that the ledger does not hold."""
    given = {name: getattr(args, f"only_{name}") for name in NAMES}
    if any(given.values()):
        _must_be_there(args.ledger, given)
    return given


def _must_be_there(ledger: Path, given: dict[str, Sequence[str]]) -> None:
    from dashboard.data.queries import ask

    kept = ask(ledger, "filters")
    for name, values in given.items():
        there = kept.loc[kept["field"] == ("pump_type" if name == "type" else name), "value"].tolist()
        for value in (v for v in values if v not in there):
            some = ", ".join(there[:SHOWN]) + (", …" if len(there) > SHOWN else "")
            raise EntryRefused(
                f"unknown-{name}", f"--{name}: there is no {value!r} in this ledger; it has {some or 'none'}."
            )
