"""The options of commands that measure many captures: in how many processes, or on which cluster."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ingest.chains.running import Where


def add_where(parser: argparse.ArgumentParser) -> None:
    """Add --processes and --cluster."""
    parser.add_argument(
        "--processes",
        type=int,
        metavar="N",
        help="measure in N processes (default: one for each core); the readings are the same",
    )
    parser.add_argument(
        "--cluster",
        metavar="ADDRESS",
        help="measure on the workers of a Dask scheduler, tls://HOST:PORT (docs/outgrowing_one_machine.md)",
    )


def where_of(args: argparse.Namespace) -> Where:
    """Return where the captures are to be measured, as the options say."""
    from ingest.chains.running import Where

    return Where(args.processes, args.cluster)
