"""`pumpledger add`: a fleet set up without a folder, in any order."""

from __future__ import annotations

import argparse

from dashboard.words.terminal import tell

EXAMPLE = 'pumpledger add unit 214 depot=North pump_type=FP-10 fitted_on=2021-03-01 fitted_odometer="12 mi"'
KINDS = ("unit", "type", "depot", "fleet")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument("kind", choices=KINDS, help="what is added; fleet: settings such as distance_unit=km")
    parser.add_argument("facts", nargs="+", metavar="COLUMN=VALUE",
                        help="first its name, then columns of vehicles.csv, pumps.csv or pump_types.csv; "
                        "a depot's hours=16")  # fmt: skip
    parser.add_argument("--by", metavar="NAME", help="who adds it; default: the user of this machine")


def run(args: argparse.Namespace) -> int:
    """Add it and say what was kept."""
    from ingest.author import operating_system_user
    from ingest.errors import EntryRefused
    from ingest.intake.setting_up import add_depot, add_type, add_unit, set_up_fleet

    author = operating_system_user().signing(args.by)
    facts: dict[str, str] = {}
    for place, fact in enumerate(args.facts):
        name, equals, value = fact.partition("=")
        if not equals and place == 0 and args.kind != "fleet":
            facts[{"unit": "unit", "type": "pump_type", "depot": "depot"}[args.kind]] = fact
        elif not equals:
            raise EntryRefused("no-value", f"'{fact}': write it like depot=North.")
        else:
            facts[name.strip()] = value
    if args.kind == "unit":
        tell(add_unit(args.ledger, facts, author=author))
    elif args.kind == "type":
        tell(add_type(args.ledger, facts, author=author))
    elif args.kind == "depot":
        if strangers := [name for name in facts if name not in ("depot", "hours")]:
            raise EntryRefused("no-column", f"A depot has no entry '{strangers[0]}'; it has hours.")
        tell(add_depot(args.ledger, facts.get("depot", ""), facts.get("hours", ""), author=author))
    else:
        tell(set_up_fleet(args.ledger, facts, author=author))
    return 0
