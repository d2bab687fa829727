"""`pumpledger cost`: what was spent, what policies would cost here, the best age; and setting a price."""

from __future__ import annotations

import argparse
import json
from datetime import date
from typing import TYPE_CHECKING, Any

from dashboard.commands.options import day
from dashboard.commands.standing import say_age
from dashboard.words.money import NAMES, changes_words
from dashboard.words.terminal import tell, tell_rows
from ingest.errors import EntryRefused

if TYPE_CHECKING:
    import pandas as pd

    from analytics.cost_review.budget import Budget
    from analytics.cost_review.costs import CostReview

EXAMPLE = "pumpledger cost --what-if failure_replacement=3100"
FRAMES = (
    "elements", "facts", "spent", "months", "policies", "year", "intervals", "warnings", "best_ages",
    "ratio_curve", "tornado", "lists",
)  # fmt: skip


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's own options."""
    parser.add_argument(
        "--as-of", type=day, metavar="DATE", help="the day to stand on; default: the last dated fact"
    )
    parser.add_argument(
        "--discount", type=float, default=0.0, metavar="PCT", help="a yearly rate, for the best age"
    )
    parser.add_argument(
        "--what-if",
        action="append",
        default=[],
        metavar="ELEMENT=AMOUNT",
        help="review at this price instead, writing nothing",
    )
    parser.add_argument(
        "--set",
        action="append",
        default=[],
        metavar="ELEMENT=AMOUNT",
        help="show what this price would change; with --confirm keep it ('elements' ends a whole amount)",
    )
    parser.add_argument("--confirm", action="store_true", help="with --set: keep the price for good")
    parser.add_argument(
        "--class", dest="vehicle_class", metavar="CLASS", help="with --set or --elements: for this class only"
    )
    parser.add_argument("--depot", metavar="DEPOT", help="with --set or --elements: for this depot only")
    parser.add_argument(
        "--from",
        dest="valid_from",
        type=day,
        metavar="DATE",
        help="with --set: from this day on; default: today",
    )
    parser.add_argument("--source", metavar="TEXT", help="with --set: where the price comes from")
    parser.add_argument(
        "--by", metavar="NAME", help="with --set: who sets it; default: who is logged in here"
    )
    parser.add_argument("--elements", action="store_true", help="list the elements of cost and stop")
    parser.add_argument(
        "--budget",
        action="store_true",
        help="twelve months by month and depot and their sums, as CSV or with --json, instead of the review",
    )
    parser.add_argument("--json", action="store_true", help="the whole review as one object")
    parser.add_argument(
        "--csv", choices=FRAMES, metavar="TABLE", help=f"one table as CSV: {', '.join(FRAMES)}"
    )


def run(args: argparse.Namespace) -> int:
    """Show, or keep, a price; or review and print."""
    from analytics.cost_review.costs import cost_review, read_costs
    from analytics.past.frames import records

    if not args.set:
        _refuse_words_of_a_price(args)
    if args.set:
        for line in _set(args):
            tell(line)
    if args.elements or args.set:
        book = read_costs(args.ledger)
        if args.set and not args.confirm:
            return 0
        table = book.table(args.vehicle_class, args.depot)
        if args.json:
            tell(json.dumps(records(table), indent=1))
        else:
            tell("\n".join(element_lines(table, book.currency)))
        return 0
    what_if = dict(_price(text, "--what-if") for text in args.what_if)
    review = cost_review(args.ledger, args.as_of, discount_pct=args.discount, what_if=what_if)
    say_age(args.ledger, args.as_of, to_text=not (args.json or args.csv))
    if args.budget:
        made = budget(args, review)
        tell(json.dumps(budget_dict(made, review), indent=1)) if args.json else tell_rows(budget_csv(made))
    elif args.csv:
        from dashboard.words.formats import as_csv
        from dashboard.words.tidy import tidy

        tell_rows(as_csv(tidy(getattr(review, args.csv))).decode("utf-8-sig"))
    elif args.json:
        tell(json.dumps(as_dict(review), indent=1))
    else:
        tell(as_text(review))
    return 0


def budget(args: argparse.Namespace, review: CostReview) -> Budget:
    """Return the budget from the plan of the same day."""
    from analytics.cost_review.budget import budget_of
    from analytics.scheduling.planning import plan

    made = plan(args.ledger, as_of=args.as_of)
    return budget_of(args.ledger, review, made.lines, made.today, made.horizon_days)


def budget_csv(made: Budget) -> str:
    """Return the budget as CSV; columns as in docs/costs.md."""
    from dashboard.words.formats import as_csv

    return as_csv(_plain(made.with_sums)).decode("utf-8-sig")


def budget_dict(made: Budget, review: CostReview) -> dict[str, Any]:
    """Return the budget as plain values: total, depots, months, and rows of month and depot."""
    from analytics.past.frames import records

    parts = {"total": made.total, "depots": made.by_depot, "months": made.by_month, "rows": made.table}
    plain = {name: records(_plain(part)) for name, part in parts.items()}
    return {"as_of": review.as_of.isoformat(), "currency": review.currency, **plain}


def _plain(table: pd.DataFrame) -> pd.DataFrame:
    money = ["changes_cost", "failures_cost", "cost", "cost_low", "cost_high"]
    return table.round(dict.fromkeys(money, 2) | {"changes": 3, "failures": 3})


def as_dict(review: CostReview) -> dict[str, Any]:
    """Return the review as plain values."""
    from analytics.past.frames import records

    done = review.changes
    whole = {
        "as_of": review.as_of.isoformat(),
        "currency": review.currency,
        "distance_unit": review.distance_unit,
        "distance_per_year": review.distance_per_year,
        "answer": list(review.answer),
        "planned": review.planned,
        "failure": review.failure,
        "failures_avoided": done.failures_avoided,
        "failures_avoided_low": done.failures_low,
        "failures_avoided_high": done.failures_high,
        "money_avoided": done.money_avoided,
        "what_if": dict(review.what_if),
        "notes": [note.text for note in review.notes],
        "note_codes": [{"code": note.code, "values": dict(note.values)} for note in review.notes],
    }
    return whole | {name: records(getattr(review, name)) for name in FRAMES}


def _refuse_words_of_a_price(args: argparse.Namespace) -> None:
    if args.confirm:
        raise EntryRefused("nothing-to-confirm", "--confirm keeps prices given with --set; none is given.")
    words = {"--from": args.valid_from, "--source": args.source, "--by": args.by}
    if not args.elements:
        words |= {"--class": args.vehicle_class, "--depot": args.depot}
    for option, value in words.items():
        if value is not None:
            raise EntryRefused("no-price", f"{option} says more of a price given with --set; none is given.")


def _set(args: argparse.Namespace) -> list[str]:
    from analytics.cost_review.costs import read_costs, set_cost
    from analytics.money.cost_book import price_change, price_words, refuse_unknown_place
    from ingest.author import operating_system_user

    given = [_price(text, "--set") for text in args.set]
    refuse_unknown_place(args.ledger, args.vehicle_class, args.depot)
    start = args.valid_from or date.today()
    if args.confirm:
        author = operating_system_user().signing(args.by)
        return [
            set_cost(
                args.ledger, element, amount, vehicle_class=args.vehicle_class, depot=args.depot,
                valid_from=start, source=args.source, author=author,
            )
            for element, amount in given
        ]  # fmt: skip
    book = read_costs(args.ledger, start)
    where = {"vehicle_class": args.vehicle_class, "depot": args.depot}
    changed = book
    for element, amount in given:
        price_change(changed, element, amount, **where)
        changed = changed.with_prices({element: amount}, **where)
    before, after = book.prices(**where), changed.prices(**where)
    words = ", ".join(f"{element} {price_words(element, amount, book.currency)}" for element, amount in given)
    return [
        f"With {words} from {start} on a planned replacement would cost {after.planned:,.0f} {book.currency} "
        f"(now {before.planned:,.0f}), one on failure {after.failure:,.0f} (now {before.failure:,.0f}), a "
        "capture "
        f"{after.capture:,.0f} (now {before.capture:,.0f}).",
        "Nothing was changed; --confirm keeps it. --what-if shows what it would do to the policies.",
    ]


def _price(text: str, option: str) -> tuple[str, float | None]:
    element, _, amount = text.partition("=")
    if amount.strip() == "elements":
        return element.strip(), None
    try:
        return element.strip(), float(amount)
    except ValueError as error:
        raise EntryRefused("bad-price", f"{option}: '{text}' should be like tow=520.") from error


def element_lines(table: pd.DataFrame, currency: str) -> list[str]:
    """Return the elements of cost, one a line."""
    from analytics.past.frames import each

    units = {"money": currency, "hours": "h", "factor": "×"}
    return [
        f"{row.element:24}{row.amount:>10,.2f} {units[row.unit]:4} "
        f"{'not counted' if not row.counts else 'confirmed' if row.confirmed else 'placeholder':12} "
        f"{row.label}" + (f" ({row.scope})" if row.scope else "") + f"; {row.source}"
        for row in each(table)
    ]


def as_text(review: CostReview) -> str:
    """Return the review for a terminal: the answer first."""
    money = review.currency
    out = [*review.answer, ""]
    if review.what_if:
        from analytics.money.cost_book import price_words

        prices = [f"{element} {price_words(element, v, money)}" for element, v in review.what_if.items()]
        out.insert(0, f"If {', '.join(prices)} (nothing was changed):")
    out.append(
        f"Costs as of {review.as_of}. A planned replacement costs {review.planned:,.0f} {money}, "
        f"one on failure {review.failure:,.0f} {money} ({review.ratio:.1f} times), a capture "
        f"{review.capture:,.0f} {money}."
    )
    for section in (_policies, _intervals, _ages, _drivers, _spent, _changes, _lists):
        made = section(review)
        out += ["", *made] if made else []
    return "\n".join([*out, "", *(f"Note: {note.text}" for note in review.notes)])


def _spent(review: CostReview) -> list[str]:
    money = review.currency
    out = ["Spent (recorded; at the prices of the day where no cost was entered):"]
    for (year, kind), rows in review.spent.groupby(["year", "kind"]):
        priced, number = rows["cost_estimated"].sum(), rows["replacements"].sum()
        line = f"  {year}  {kind:22}{number:>5} {'pump ' if number == 1 else 'pumps'}  "
        line += f"{rows['cost_recorded'].sum():>10,.0f} {money} recorded"
        out.append(line + (f", {priced:,.0f} {money} at the prices of the day" if priced else ""))
    total = review.spent[["cost_recorded", "cost_estimated"]].sum().sum() if len(review.spent) else 0.0
    if review.spent.empty:
        return [*out, "  no replacement on record"]
    return [*out, f"  in all {total:,.0f} {money}, each event once (--csv facts lists them)"]


def _changes(review: CostReview) -> list[str]:
    done, unit = review.changes, review.distance_unit
    if not done.changed:
        return []
    return [f"Changed before failure: {changes_words(done, review.currency, unit)}"]


def _policies(review: CostReview) -> list[str]:
    from analytics.cost_review.answer import age_words
    from analytics.past.frames import each

    if review.policies.empty:
        return []
    out = [f"Policies, a year for the fleet, and per 10,000 {review.distance_unit} of one pump (80 % range):"]
    year = review.year.set_index("policy")
    for row in each(review.policies):
        whole = year.loc[row.policy]
        line = f"  {NAMES[row.policy]:28}{whole['cost']:>10,.0f} {review.currency} "
        line += (
            f"({whole['cost_low']:,.0f} to {whole['cost_high']:,.0f}), {whole['breakdowns']:.1f} breakdowns;"
        )
        line += f" {row.cost:,.1f} per 10,000"
        if row.setting == row.setting:
            line += f", at {age_words(review.policies, review.distance_unit)}"
        if row.capture_cost:
            line += f", captures {row.capture_cost:,.1f} of it"
        if 0 < row.break_even_ratio < 100:
            line += f"; beats running to failure from a cost ratio of {row.break_even_ratio:.1f}"
        out.append(line)
    return out


def _intervals(review: CostReview) -> list[str]:
    from analytics.cost_review.intervals import ALL
    from analytics.past.frames import each

    rows = (
        review.intervals[review.intervals["pump_type"] == ALL] if len(review.intervals) else review.intervals
    )
    if rows.empty:
        return []
    unit, money = review.distance_unit, review.currency
    out = ["How often to capture, a year for the fleet under the condition rule (--csv intervals: by type):"]
    for row in each(rows):
        mark = " (as now)" if row.is_own else ""
        mark += " (saves most)" if row.is_best else ""
        out.append(
            f"  every {row.interval:>8,.0f} {unit}{row.cost:>10,.0f} {money}, captures "
            f"{row.capture_cost:,.0f} of it; "
            f"saves {row.saving:,.0f}; {row.breakdowns:.1f} breakdowns{mark}"
        )
    for row in each(review.warnings):
        if row.warning_p50 == row.warning_p50:
            out.append(
                f"  {row.pump_type}: failures show {row.warning_p50:,.0f} {unit} ahead "
                f"({row.warning_p10:,.0f} to "
                f"{row.warning_p90:,.0f}), {100 * row.without_warning:.0f} % unannounced; half of it "
                f"{row.at_most:,.0f}, captured every {row.interval:,.0f}"
            )
    return out


def _ages(review: CostReview) -> list[str]:
    from analytics.past.frames import each

    unit = review.distance_unit
    out = [f"Best age, in {unit} (80 % range), which the fixed-age policy has by type:"]
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
    out = [f"What moves the condition rule's saving of {base:,.1f} {per}, and which policy then costs least:"]
    for r in each(review.tornado):
        choice = [NAMES[r.best_low], NAMES[r.best_high]]
        turned = " (the choice turns)" if {r.best_low, r.best_high} != {r.best_base} else ""
        out.append(f"  {r.driver:32}{r.low:>8,.1f} to {r.high:,.1f}; {' to '.join(choice)}{turned}")
    return out


def _lists(review: CostReview) -> list[str]:
    from analytics.past.frames import each

    if review.lists.empty:
        return []
    return ["Lists kept, expected against what followed (estimated):"] + [
        f"  list of {r.as_of:%Y-%m-%d}: {r.pumps} pumps, expected to save {r.expected_saving:,.0f} "
        f"{review.currency}; {r.changed} changed, {r.failed_first} failed first, "
        f"{r.still_running} still running; "
        f"realised {r.realised_low:,.0f} to {r.realised_high:,.0f} {review.currency}"
        for r in each(review.lists)
    ]
