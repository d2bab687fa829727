"""`pumpledger cost`: what was spent, what policies would cost here, the best age; and setting a price."""

from __future__ import annotations

import argparse
import json
from typing import TYPE_CHECKING

from dashboard.commands.options import day
from ingest.errors import EntryRefused

if TYPE_CHECKING:
    import pandas as pd

    from analytics.cost_review.costs import CostReview

EXAMPLE = 'pumpledger cost --set tow=520 --source "tow contract"'
FRAMES = ("elements", "spent", "breakdowns", "policies", "best_ages", "ratio_curve", "tornado", "lists")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's own options."""
    parser.add_argument(
        "--as-of", type=day, metavar="DATE", help="the day to stand on; default: the last dated fact"
    )
    parser.add_argument(
        "--discount", type=float, default=0.0, metavar="PCT", help="a yearly rate, for the best age"
    )
    parser.add_argument(
        "--set", action="append", default=[], metavar="ELEMENT=AMOUNT", help="enter a confirmed price first"
    )
    parser.add_argument(
        "--class", dest="vehicle_class", metavar="CLASS", help="with --set: for this class only"
    )
    parser.add_argument("--depot", metavar="DEPOT", help="with --set: for this depot only")
    parser.add_argument(
        "--from", dest="valid_from", type=day, metavar="DATE", help="with --set: from this day on"
    )
    parser.add_argument("--source", metavar="TEXT", help="with --set: where the price comes from")
    parser.add_argument("--elements", action="store_true", help="list the elements of cost and stop")
    parser.add_argument("--json", action="store_true", help="the whole review as one object")


def run(args: argparse.Namespace) -> int:
    """Enter prices, then review and print."""
    from analytics.cost_review.costs import cost_review, read_costs, set_cost
    from analytics.past.frames import records
    from ingest.author import operating_system_user

    for element, amount in [_price(text) for text in args.set]:
        print(
            set_cost(
                args.ledger,
                element,
                amount,
                vehicle_class=args.vehicle_class,
                depot=args.depot,
                valid_from=args.valid_from,
                source=args.source,
                author=operating_system_user(),
            )
        )
    if args.elements or args.set:
        book = read_costs(args.ledger)
        table = book.table(args.vehicle_class, args.depot)
        if args.json:
            print(json.dumps(records(table), indent=1))
        else:
            print("\n".join(element_lines(table, book.currency)))
        return 0
    review = cost_review(args.ledger, args.as_of, discount_pct=args.discount)
    if args.json:
        whole = {
            "as_of": review.as_of.isoformat(),
            "currency": review.currency,
            "distance_unit": review.distance_unit,
            "planned": review.planned,
            "failure": review.failure,
            "avoided_low": review.avoided_low,
            "avoided_high": review.avoided_high,
            "notes": list(review.notes),
        }
        frames = {name: records(getattr(review, name)) for name in FRAMES}
        print(json.dumps(whole | frames, indent=1))
    else:
        print(as_text(review))
    return 0


def _price(text: str) -> tuple[str, float]:
    element, _, amount = text.partition("=")
    try:
        return element.strip(), float(amount)
    except ValueError as error:
        raise EntryRefused("bad-price", f"--set: '{text}' should be like tow=520.") from error


def element_lines(table: pd.DataFrame, currency: str) -> list[str]:
    """Return the elements of cost, one a line."""
    from analytics.past.frames import each

    units = {"money": currency, "hours": "h", "factor": "×"}
    return [
        f"{row.element:24}{row.amount:>10,.2f} {units[row.unit]:4} "
        f"{'confirmed' if row.confirmed else 'placeholder':12} {row.label}"
        + (f" ({row.scope})" if row.scope else "")
        + f"; {row.source}"
        for row in each(table)
    ]


def as_text(review: CostReview) -> str:
    """Return the review for a terminal."""
    money = review.currency
    out = [
        f"Costs as of {review.as_of}. A planned replacement costs {review.planned:,.0f} {money}, "
        f"one on failure {review.failure:,.0f} {money} ({review.ratio:.1f} times)."
    ]
    for section in (_spent, _policies, _ages, _drivers, _lists):
        out += ["", *section(review)]
    return "\n".join([*out, "", *(f"Note: {note}" for note in review.notes)])


def _spent(review: CostReview) -> list[str]:
    money = review.currency
    out = ["Spent (recorded; at today's prices where no cost was entered):"]
    for (year, kind), rows in review.spent.groupby(["year", "kind"]):
        priced, thrown = rows["cost_estimated"].sum(), rows["life_thrown_away"].sum()
        number = rows["replacements"].sum()
        line = f"  {year}  {kind:22}{number:>5} {'pump ' if number == 1 else 'pumps'}  "
        line += f"{rows['cost_recorded'].sum():>10,.0f} {money} recorded"
        line += f", {priced:,.0f} {money} at today's prices" if priced else ""
        line += (
            f"; about {thrown:,.0f} {review.distance_unit} of life thrown away (estimated)" if thrown else ""
        )
        out.append(line)
    if review.spent.empty:
        out.append("  no replacement on record")
    return [
        *out,
        "Avoided, estimated and not money spent: "
        f"{review.avoided_low:,.0f} to {review.avoided_high:,.0f} {money}.",
    ]


def _policies(review: CostReview) -> list[str]:
    from analytics.past.frames import each

    out = [f"Policies on this fleet, per 10,000 {review.distance_unit} of one pump (simulated; 80 % range):"]
    for row in each(review.policies):
        line = f"  {row.policy:28}{row.cost:>8,.1f} {review.currency} "
        line += f"({row.cost_low:,.1f} to {row.cost_high:,.1f})"
        line += f"  {row.breakdowns:.3f} breakdowns  {row.replacements:.3f} replacements"
        if 0 < row.break_even_ratio < 100:
            line += f"  pays from a cost ratio of {row.break_even_ratio:.1f}"
        out.append(line)
    return out


def _ages(review: CostReview) -> list[str]:
    from analytics.past.frames import each

    unit = review.distance_unit
    out = [f"Best age, in {unit} (80 % range; closed form from Weibull fits):"]
    for row in each(review.best_ages):
        if row.best_age != row.best_age:
            out.append(f"  {row.pump_type:12} none: {row.why_none} {row.text}".rstrip())
            continue
        line = f"  {row.pump_type:12}{row.best_age:>10,.0f} ({row.age_low:,.0f} to {row.age_high:,.0f})  "
        line += f"{row.cost_at_best:,.1f} {review.currency} against {row.cost_to_failure:,.1f} "
        line += f"run to failure, per 10,000 {unit}"
        if row.best_age_discounted == row.best_age_discounted:
            line += f"; discounted {row.best_age_discounted:,.0f}"
        if row.share_without_age > 0.01:
            line += f"; no age pays in {100 * row.share_without_age:.0f} % of what the data allow"
        out.append(f"{line}. {row.text}".rstrip())
    return out


def _drivers(review: CostReview) -> list[str]:
    from analytics.past.frames import each

    if review.tornado.empty:
        return []
    base = review.tornado["base"].iloc[0]
    per = f"{review.currency} per 10,000 {review.distance_unit}"
    head = f"What moves the risk policy's saving of {base:,.1f} {per}:"
    return [head, *(f"  {r.driver:32}{r.low:>8,.1f} to {r.high:,.1f}" for r in each(review.tornado))]


def _lists(review: CostReview) -> list[str]:
    from analytics.past.frames import each

    if review.lists.empty:
        return []
    return ["Lists kept, expected against what followed (estimated):"] + [
        f"  {r.list_id}: {r.as_of:%Y-%m-%d}, {r.pumps} pumps, expected to save {r.expected_saving:,.0f} "
        f"{review.currency}; {r.changed} changed, {r.failed_first} failed first, "
        f"{r.still_running} still running; "
        f"realised {r.realised_low:,.0f} to {r.realised_high:,.0f} {review.currency}"
        for r in each(review.lists)
    ]
