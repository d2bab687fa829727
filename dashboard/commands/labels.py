"""`pumpledger labels`: a sheet of QR codes, each opening Log a visit for its unit."""

from __future__ import annotations

import argparse
from pathlib import Path

from dashboard.words.terminal import tell

EXAMPLE = "pumpledger labels labels.html --depot North --public-url https://pumps.example"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument("file", type=Path, metavar="FILE", help="the HTML file to write, for printing")
    parser.add_argument("--depot", metavar="D", help="units of this depot alone")
    parser.add_argument(
        "--public-url", metavar="URL", help="where phones reach the pages (default: the server's)"
    )


def run(args: argparse.Namespace) -> int:
    """Write the sheet."""
    from dashboard.parts.labels import label_sheet, units_to_label
    from dashboard.serving.configuration import read_server_settings
    from dashboard.shell.paper import write_file

    url = args.public_url or read_server_settings().public_url
    units = units_to_label(args.ledger, args.depot)
    content = label_sheet(units, url, f"Labels{f', {args.depot}' if args.depot else ''}")
    write_file(args.file, content.encode("utf-8"))
    tell(f"{len(units):,} labels: {args.file}")
    return 0
