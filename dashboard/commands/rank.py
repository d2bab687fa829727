"""`pumpledger rank`: pumps in service by risk of failing on the road."""

from __future__ import annotations

import argparse
import json
from typing import TYPE_CHECKING, Any

from dashboard.commands import choices
from dashboard.commands.options import day
from dashboard.commands.standing import say_age
from dashboard.shell.where_measured import where_of
from dashboard.words.terminal import tell, tell_list, tell_rows
from ingest.errors import EntryRefused

if TYPE_CHECKING:
    import pandas as pd

SHOWN = 20  # rows on a terminal unless asked for
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
    "reason_codes",
    "reason_values",
    "status",
    "down_since",
    "not_working",
    "finding",
    "finding_text",
    "finding_values",
    "finding_action",
    "next_test",
    "action",
    "action_text",
    "action_code",
    "action_values",
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
    "asked_first",
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
    parser.add_argument(
        "--processes",
        type=int,
        metavar="N",
        help="judge and decide parts of a large fleet in N processes (default: this one); the figures are the"
        " same",
    )
    parser.add_argument(
        "--cluster",
        metavar="ADDRESS",
        help="the same on the workers of a Dask scheduler, tls://HOST:PORT (docs/outgrowing_one_machine.md)",
    )
    choices.add_arguments(parser)
    how_many = parser.add_mutually_exclusive_group()
    how_many.add_argument("--top", type=int, metavar="N", help=f"the N riskiest only (default {SHOWN})")
    how_many.add_argument("--all", action="store_true", help="every pump in service")
    parser.add_argument("--why", action="store_true", help="each pump's reason below its row")
    parser.add_argument("--json", action="store_true", help="a list of objects, every pump in service")
    parser.add_argument("--csv", action="store_true", help="the same as CSV")


def run(args: argparse.Namespace) -> int:
    """Rank and print; 1 when nothing can be ranked."""
    from analytics.record.told import keep_told
    from analytics.risk.ranking import rank_and_groups
    from analytics.scheduling.narrowing import kept_rows

    if args.top is not None and args.top < 1:
        raise EntryRefused("bad-top", f"--top: {args.top} pumps is none; give 1 or more.")
    within_km = parse_horizon(args.within) if args.within else None
    if args.refit:
        from analytics.learning.fitting import fit

        fit(args.ledger, args.as_of)
    asked = args.processes is not None or args.cluster is not None
    where = where_of(args) if asked else None
    table, groups = rank_and_groups(args.ledger, as_of=args.as_of, within_km=within_km, where=where)
    if not (args.as_of or args.within):
        keep_told(args.ledger, table)
    say_age(args.ledger, args.as_of, to_text=not (args.json or args.csv))
    steps = table.attrs["steps"]
    all_of_them, table = len(table), kept_rows(table, choices.chosen(args))
    listed = table.head(args.top) if args.top else table
    if args.json:
        tell_list(records(listed))
    elif args.csv:
        from dashboard.words.formats import as_csv

        tell_rows(as_csv(_with_values(listed)[list(JSON_FIELDS)]).decode("utf-8-sig"))
    else:
        most = None if args.all else args.top or SHOWN
        if all_of_them and not len(table):
            print("No pump in service is of that depot, type and class at once.")
            return 0
        print("\n".join(as_lines(table, most, args.why)))
        for text in steps:
            tell(text)
        for text in groups[groups["flagged"]]["text"]:
            tell(f"Fails early: {text}")
        for text in groups[groups["finding"] == "suspect"]["text"]:
            tell(f"Suspect: {text}")
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
    from analytics.past.frames import plain_column
    from analytics.risk.reasons import reason_values

    made = {
        "reason_values": reason_values(table),
        "finding_values": [json.loads(values) for values in table["finding_values"]],
        "action_values": table["action_values"].tolist(),
        "reason_codes": [codes.split() for codes in table["reason_codes"]],
    }
    made |= {name: plain_column(table[name]) for name in JSON_FIELDS if name in table and name not in made}
    rows = zip(*(made[name] for name in JSON_FIELDS), strict=True)
    return [dict(zip(JSON_FIELDS, row, strict=True)) for row in rows]


def _with_values(table: pd.DataFrame) -> pd.DataFrame:
    """Return rows with the values of reason and action as JSON text, as those of the finding are kept."""
    from analytics.risk.reasons import reason_values

    return table.assign(
        reason_values=[json.dumps(values) for values in reason_values(table)],
        action_values=[json.dumps(values) for values in table["action_values"]],
    )


def _known(value: Any) -> bool:
    return value is not None and value == value


def as_lines(table: pd.DataFrame, most: int | None = SHOWN, why: bool = False) -> list[str]:
    """Return the first `most` rows as a table for a terminal, each with its reason below if `why`."""
    from dashboard.words.fixed_table import Column, fixed_table, strong

    if not len(table):
        return ["No pump is in service on that day."]
    shown = table if most is None else table.head(most)
    unit = table["horizon_unit"].iloc[0]
    columns = [
        Column("unit"), Column("pump type"), Column("risk", right=True),
        Column("to its next stop", right=True), Column(f"half fail in {unit}", right=True),
        Column("what to do"),
    ]  # fmt: skip
    rows = shown.to_dict("records")
    heading, *lines = fixed_table(
        columns, [_row(row) for row in rows], [row["reason"] for row in rows] if why else None
    )
    out = [strong(heading), *lines]
    if len(table) > len(shown):
        out.append(f"and {len(table) - len(shown):,} more of less risk (--all lists them, --why says why)")
    if not why:  # whose reasons say so, each of its own pump
        out.append(_risk_words(table))
    return out


def _risk_words(table: pd.DataFrame) -> str:
    """Return what "risk" is a chance of."""
    from analytics.past.normal import interval

    reach = sorted(set(table["horizon"].round(2)))
    within = (
        f"{interval(reach[0]):,.0f} {table['horizon_unit'].iloc[0]}"
        if len(reach) == 1
        else "a unit's interval"
    )
    return f"Risk: the chance of failing on the road within {within}; to its next stop: before that day."


def _row(row: dict[Any, Any]) -> list[str]:
    """Return a pump's cells as shown."""
    from dashboard.words.formats import ACTION_WORDS, UNKNOWN, day, even_chance, percent, place

    where = place(row["unit"], row["position"])
    failed = row["status"] == "failed"
    to_do = "Change it" if failed else ACTION_WORDS.get(row["action"], row["action"])
    if _known(row["planned_on"]):
        # A day nobody chose is the first that suits this pump alone: the plan shares out bays and parts.
        settled = row["decision_status"] in ("booked", "pinned")
        to_do += f" {'on' if settled else 'from'} {day(row['planned_on'])}"
    if _known(row["decision_status"]):
        to_do += f", {row['decision_status']} by {row['decided_by']}"
    if failed:
        down = f"down since {day(row['down_since'])}"
        return [where, row["pump_type"], "failed", UNKNOWN, UNKNOWN, f"{to_do}; {down}"]
    by_stop = f"{percent(row['risk_to_next_stop'])} by {day(row['next_stop_on'])}"
    left = even_chance(row["distance_left_text"])
    risk = "not working" if row["not_working"] else percent(row["risk"])
    return [where, row["pump_type"], risk, by_stop, left, to_do]
