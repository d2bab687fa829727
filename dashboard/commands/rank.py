"""`pumpledger rank`: pumps in service by risk of failing on the road."""

from __future__ import annotations

import argparse
import json
import sys
from datetime import date
from typing import TYPE_CHECKING, Any

from dashboard.commands import choices
from dashboard.commands.options import day
from ingest.errors import EntryRefused

if TYPE_CHECKING:
    import pandas as pd

EXAMPLE = 'pumpledger rank --within "5000 mi" --json'
JSON_FIELDS = (
    "unit",
    "position",
    "pump_type",
    "depot",
    "class",
    "risk",
    "horizon",
    "horizon_unit",
    "distance_left_p10",
    "distance_left_p50",
    "distance_left_p90",
    "distance_left_text",
    "due_by",
    "reason",
    "status",
    "down_since",
    "finding",
    "finding_text",
    "finding_action",
    "next_test",
    "action",
    "action_text",
    "p_change",
    "planned_on",
    "next_stop_on",
    "risk_to_next_stop",
    "decision_status",
    "decided_by",
    "next_capture_on",
    "next_capture_km",
    "visits",
    "last_visited_on",
    "risk_wear",
    "risk_drag",
    "risk_sudden",
    "risk_hydraulic",
    "risk_commutator",
    "risk_brush",
    "p_drag_started",
    "p_damage",
    "p_beside_pump",
    "prior_share",
    "n_alike",
    "k_failed",
    "risk_if_new",
    "worth",
    "because",
    "job",
    "at",
    "benefit",
    "saving",
    "p_beside",
    "planned",
    "failure",
    "cost_per_km",
    "pump_id",
    "distance_on_pump_km",
    "km_per_day",
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's own options."""
    parser.add_argument(
        "--as-of",
        type=day,
        metavar="DATE",
        help="the day to stand on; default: the last dated fact",
    )
    parser.add_argument("--within", metavar='"5000 mi"', help="the horizon; default: each unit's PM interval")
    parser.add_argument(
        "--refit", action="store_true", help="learn from the ledger anew first, and store the fit"
    )
    choices.add_arguments(parser)
    parser.add_argument("--top", type=int, metavar="N", help="show the N riskiest only")
    parser.add_argument("--json", action="store_true", help="a list of objects, every pump in service")
    parser.add_argument("--csv", action="store_true", help="the same as CSV")


def run(args: argparse.Namespace) -> int:
    """Rank and print; 1 when nothing can be ranked."""
    from analytics.learning.fitting import fit
    from analytics.risk.ranking import rank_and_groups
    from analytics.risk.workdays import as_of_sentence, stale
    from analytics.scheduling.narrowing import kept_rows

    within_km = parse_horizon(args.within) if args.within else None
    if args.refit:
        fit(args.ledger, args.as_of)
    table, groups = rank_and_groups(args.ledger, as_of=args.as_of, within_km=within_km)
    as_of = table.attrs["as_of"]
    table = kept_rows(table, choices.chosen(args))
    if args.top:
        table = table.head(args.top)
    if args.json:
        print(json.dumps(records(table), indent=1))
    elif args.csv:
        from dashboard.words.formats import as_csv

        sys.stdout.write(as_csv(table[list(JSON_FIELDS)]).decode("utf-8-sig"))
    else:
        last_fact = date.fromisoformat(as_of)
        if args.as_of is None and stale(last_fact, date.today()):
            print(as_of_sentence(last_fact))
        print(as_text(table))
        for text in groups[groups["flagged"]]["text"]:
            print(f"Fails early: {text}")
    return 0


def parse_horizon(text: str) -> float:
    """Return a horizon in km; raises EntryRefused unless it is a positive distance."""
    from ingest.units import parse_quantity

    km = parse_quantity(text, "distance", field="--within")
    if not km > 0:
        raise EntryRefused("horizon", f"--within: '{text}' must be more than nothing, such as '5000 mi'.")
    return km


def records(table: pd.DataFrame) -> list[dict[str, Any]]:
    """Return the rows as plain values: dates as text, unknown as None."""
    import pandas as pd

    rows = table[list(JSON_FIELDS)].to_dict("records")
    return [{str(k): _plain(v, pd) for k, v in row.items()} for row in rows]


def _plain(value: Any, pd: Any) -> Any:
    if value is None or (not isinstance(value, str) and pd.isna(value)):
        return None
    if isinstance(value, date):
        return value.isoformat()[:10]
    if hasattr(value, "item"):
        value = value.item()
    return round(value, 6) if isinstance(value, float) else value


def _known(value: Any) -> bool:
    return value is not None and value == value


def as_text(table: pd.DataFrame) -> str:
    """Return the list for a terminal: two lines a pump."""
    if not len(table):
        return "No pump is in service on that day."
    lines = []
    for row in table.to_dict("records"):
        due = f"due by {row['due_by']}" if row["due_by"] else "no date within experience"
        on = f" on {row['planned_on']}" if _known(row["planned_on"]) else ""
        who = f" ({row['decision_status']} by {row['decided_by']})" if _known(row["decision_status"]) else ""
        place = row["unit"] if row["position"] == "main" else f"{row['unit']} ({row['position']})"
        if row["status"] == "failed":
            ahead = f"failed, down since {row['down_since']:%Y-%m-%d}"
        else:
            ahead = (
                f"risk {100 * row['risk']:.1f} % over its interval, "
                f"{100 * row['risk_to_next_stop']:.1f} % to its next stop ({row['next_stop_on']})"
                f"  half fail within {row['distance_left_text']}  {due}"
            )
        lines.append(f"{place}  {row['pump_type']}  {ahead}  action: {row['action']}{on}{who}")
        lines.append(f"    {row['reason']}")
    return "\n".join(lines)
