"""`pumpledger reanalyse`: measure stored waveforms again with today's method."""

from __future__ import annotations

import argparse

from dashboard.shell.where_measured import add_where, where_of
from dashboard.words.terminal import tell, tell_json

EXAMPLE = "pumpledger reanalyse"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's own options."""
    add_where(parser)
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace) -> int:
    """Measure what has no reading by the current method; 1 when some couldn't be."""
    from dashboard.shell.progress import progress_bar
    from ingest.visit.reanalysis import reanalyse

    made = reanalyse(args.ledger, progress=progress_bar("visit"), where=where_of(args))
    for sentence in made.failed:
        tell(sentence, aside=True)
    if args.json:
        facts = {"method_version": made.method_version, "measured": made.measured}
        tell_json(facts | {"failed": list(made.failed)})
    else:
        tell(
            f"{made.measured:,} visits measured again by method {made.method_version}; earlier readings are"
            f" kept{f', {len(made.failed)} could not be measured' if made.failed else ''}."
        )
    return 1 if made.failed else 0
