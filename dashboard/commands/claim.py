"""`pumpledger claim`: claims for pumps that came off in warranty, listed, stated, written as a sheet."""

from __future__ import annotations

import argparse
from functools import partial
from pathlib import Path
from typing import Any

from dashboard.words.terminal import tell, tell_json
from ingest.errors import EntryRefused
from ingest.settings_in_force import Settings
from ingest.vocabulary import CLAIM_STATES

EXAMPLE = "pumpledger claim 214 --html claim_214.html --state sent"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument("unit", nargs="?", metavar="UNIT", help="the unit; without it all claims are listed")
    parser.add_argument("--position", metavar="P", help="which pump of the unit, where it has several")
    parser.add_argument("--serial", metavar="S", help="which pump; default: the one last taken off")
    parser.add_argument("--state", choices=CLAIM_STATES, help="what became of the claim")
    parser.add_argument("--on", metavar="D", help="YYYY-MM-DD of that (default: today)")
    parser.add_argument("--amount", type=float, metavar="N", help="claimed or paid, in the fleet's currency")
    parser.add_argument("--why", metavar="TEXT", help="the claim's number, or why it was refused")
    parser.add_argument("--html", type=Path, metavar="FILE", help="write the claim sheet, for printing")
    parser.add_argument("--pdf", type=Path, metavar="FILE", help="write it as PDF (extra 'pdf')")
    parser.add_argument("--by", metavar="NAME", help="who does it; default: the user of this machine")
    parser.add_argument("--json", action="store_true", help="print JSON")


def run(args: argparse.Namespace) -> int:
    """List; or state what became of one claim, and write its sheet."""
    from dashboard.data import queries
    from ingest.author import operating_system_user
    from ingest.ledger.connection import open_ledger
    from ingest.visit.claims import claim_day, pump_claimed_for, state_claim
    from ingest.visit.warranty import warranty_of

    if not args.ledger.exists():
        raise EntryRefused("no-ledger", f"There is no ledger at {args.ledger}.")
    if args.unit is None:
        return _list(args)
    pump_id = pump_claimed_for(args.ledger, args.unit, args.position, args.serial)
    if args.state:
        state_claim(
            args.ledger, pump_id, args.state, on=claim_day(args.on), amount=args.amount, note=args.why,
            author=operating_system_user().signing(args.by),
        )  # fmt: skip
    elif args.amount is not None or args.why or args.on:
        raise EntryRefused("state-missing", "--amount, --why and --on go with --state.")
    with open_ledger(args.ledger) as connection:
        warranty = warranty_of(connection, pump_id)
    settings = queries.settings(args.ledger)
    ask = partial(queries.ask, args.ledger)
    if args.html or args.pdf:
        from dashboard.parts.claim_sheet import claim_sheet
        from dashboard.shell.paper import as_pdf, write_file

        html = claim_sheet(ask, warranty, settings, partial(_waveform, args.ledger))
        if args.html:
            write_file(args.html, html.encode("utf-8"))
        if args.pdf:
            write_file(args.pdf, as_pdf(html))
    _say(args, ask, warranty, settings)
    return 0


def _say(args: argparse.Namespace, ask: Any, warranty: Any, settings: Settings) -> None:
    from datetime import date

    from dashboard.data.queries import records
    from dashboard.words import formats
    from dashboard.words.warranty import warranty_line

    steps = records(ask("claim_steps", pump_id=warranty.pump_id))
    line = warranty_line(warranty, settings["distance_unit"], date.today())
    if args.json:
        tell_json(
            {"unit": args.unit, "warranty": line, "standing": warranty.standing(date.today()), "steps": steps}
        )
        return
    tell(line or "Its type states no warranty.")
    for step in steps:
        amount = "" if step["amount"] is None else f", {formats.money(step['amount'], settings['currency'])}"
        note = f": {step['note']}" if step["note"] else ""
        tell(f"  {formats.day(step['stated_on'])}  {step['state']}{amount}, {step['stated_by']}{note}")
    for file in (args.html, args.pdf):
        if file:
            tell(f"The claim sheet is in {file}.", aside=True)


def _list(args: argparse.Namespace) -> int:
    from dashboard.data.queries import ask, records
    from dashboard.parts.claim_sheet import claimable
    from dashboard.words import formats
    from ingest.ledger.connection import open_ledger
    from ingest.visit.warranty import warranties

    def known(pump_ids: list[int]) -> Any:
        with open_ledger(args.ledger) as connection:
            return warranties(connection, pump_ids)

    of_ledger = partial(ask, args.ledger)
    rows = [*records(of_ledger("claims")),
            *({"state": None} | row for row in records(claimable(of_ledger, known)))]  # fmt: skip
    for row in rows:
        if args.json:
            tell_json(row)
            continue
        what = f"{row['state']} since {formats.day(row['stated_on'])}" if row["state"] else "not claimed yet"
        serial = f", serial {row['serial']}" if row["serial"] else ""
        place = formats.place(row["unit"], row["position"])
        tell(f"{place:<12} {row['pump_type']}{serial}, off on {formats.day(row['removed_on'])}: {what}")
    if not rows and not args.json:
        tell("No claim is on record, and no pump lately taken off was in warranty.")
    return 0


def _waveform(ledger: Path, capture_hash: str) -> Any:
    from ingest.errors import PumpledgerError
    from ingest.waveforms import load_waveform

    try:
        return load_waveform(ledger, capture_hash)
    except PumpledgerError:
        return None
