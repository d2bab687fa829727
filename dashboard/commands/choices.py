"""Options that narrow a list to depots, pump types and vehicle classes."""

from __future__ import annotations

import argparse
from collections.abc import Sequence

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
    """Return what was chosen, by name."""
    return {name: getattr(args, f"only_{name}") for name in NAMES}
