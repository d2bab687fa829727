"""`pumpledger backtest`: how past forecasts would have done."""

from __future__ import annotations

import argparse
import json
import textwrap
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from dashboard.commands.options import day
from dashboard.commands.standing import say_age
from dashboard.words.formats import UNKNOWN
from dashboard.words.record import METHODS, acted_lines, acting_line, held_text, is_slope, methods_heading
from dashboard.words.terminal import tell

if TYPE_CHECKING:
    from analytics.record.backtest import Backtest

EXAMPLE = "pumpledger backtest --cutoffs 4"
MOST_CUTOFFS = 1000  # about three years of days, each a ranking of the fleet as it was
WIDTH = 100


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's own options."""
    parser.add_argument(
        "--cutoffs", type=int, default=4, metavar="N", help="past days to stand on (default 4)"
    )
    parser.add_argument("--until", type=day, metavar="DATE", help="take no fact after this day")
    parser.add_argument("--json", action="store_true", help="one JSON object")


def run(args: argparse.Namespace) -> int:
    """Run and print; raises EntryRefused for less than one past day."""
    from analytics.record.backtest import backtest
    from dashboard.shell.progress import progress_bar
    from ingest.errors import EntryRefused

    if args.cutoffs < 1:
        raise EntryRefused("bad-cutoffs", f"--cutoffs: {args.cutoffs} past days is none; give 1 or more.")
    if args.cutoffs > MOST_CUTOFFS:
        raise EntryRefused("bad-cutoffs", f"--cutoffs: give at most {MOST_CUTOFFS} past days.")
    found = backtest(args.ledger, cutoffs=args.cutoffs, until=args.until, progress=progress_bar("day"))
    say_age(args.ledger, args.until, to_text=not args.json)
    tell(json.dumps(as_dict(found), indent=1) if args.json else as_text(found))
    return 0


def as_dict(found: Backtest) -> dict[str, Any]:
    """Return the figures as plain values."""
    return {
        "cutoffs": [day.isoformat() for day in found.cutoffs],
        "records_are": "invented" if found.invented else "real",
        "told": asdict(found.told) | {"since": found.told.since and found.told.since.isoformat()},
        "verdict": found.verdict,
        "outside": list(found.outside),
        "acting": asdict(found.acting)
        | {
            "saved": found.acting.saved,
            "saved_low": found.acting.saved_range[0],
            "saved_high": found.acting.saved_range[1],
        },
        "text": found.text,
        "by_day": json.loads(found.by_day.astype({"as_of": str}).to_json(orient="records")),
        "scores": json.loads(found.scores.to_json(orient="records")),
        "reliability": found.reliability,
        "coverage": json.loads(found.coverage.to_json(orient="records")),
        "acted": found.acted,
    }


def as_text(found: Backtest) -> str:
    """Return the figures for a terminal."""
    said = [
        found.told.text,
        found.verdict,
        *found.outside,
        acting_line(found) if found.verdict else "",
        found.text,
    ]
    lines = [textwrap.fill(sentence, WIDTH) for sentence in said if sentence]
    if len(found.by_day):
        lines += ["", "Failures before the next visit was due, by past day:"]
        lines += [
            f"  {row['as_of']}  {row['forecasts']:5,d} forecasts, {row['expected']:6.1f} expected"
            f" ({row['low']:.0f} to {row['high']:.0f}, 9 in 10), {row['failed']:4d} failed"
            for row in found.by_day.to_dict("records")
        ]
    if found.reliability:
        lines += ["", "Risk stated against what happened, in groups of equal size (95 % interval):"]
        lines += [
            f"  {100 * group['forecast']:5.1f} % stated, {100 * group['happened']:5.1f} % failed"
            f" ({100 * group['low']:.0f} to {100 * group['high']:.0f}), {group['n']:.0f} pumps"
            for group in found.reliability
        ]
    lines += _methods(found)
    if len(found.coverage):
        lines += ["", "Did the 80 % range of the distance left hold? By readings the pump had by then:"]
        lines += [
            f"  {row['readings']:>9}  {held_text(row)} ({row['n']:,d} lives, {row['ended']:,d} have ended)"
            for row in found.coverage.to_dict("records")
        ]
    acted = acted_lines(found.acted)
    return "\n".join(lines + ([""] if acted else []) + [textwrap.fill(line, WIDTH) for line in acted])


def _slope(value: float) -> str:
    return f"{value:6.2f}" if is_slope(value) else f"{UNKNOWN:>6}"


def _methods(found: Backtest) -> list[str]:
    from analytics.past.normal import Z_95

    if not len(found.scores):
        return []
    lines = [
        "",
        f"{methods_heading(found.scores)}:",
        f"  {'':27} {'AUC (± 95 %)':>13} {'Brier':>6} {'skill':>6} {'log':>6} {'slope':>6} {'expected':>8}"
        f" {'top tenth':>10}",
    ]
    for row in found.scores.to_dict("records"):
        lines.append(
            f"  {row['label']:27} {row['auc']:6.3f} ±{Z_95 * row['auc_se']:5.3f} {row['brier']:6.3f}"
            f" {row['skill']:6.2f} {row['log_score']:6.3f} {_slope(row['calibration_slope'])}"
            f" {row['expected']:8.1f} {row['top_decile_hits']:3d} of {row['top_decile_n']:<3d}"
        )
    return [*lines, *(f"  {line}" for line in textwrap.wrap(METHODS, WIDTH - 2))]
