"""`pumpledger backtest`: how past forecasts would have done."""

from __future__ import annotations

import argparse
import json
from datetime import date
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analytics.backtest import Backtest

EXAMPLE = "pumpledger backtest --cutoffs 4"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's own options."""
    parser.add_argument(
        "--cutoffs", type=int, default=4, metavar="N", help="past days to stand on (default 4)"
    )
    parser.add_argument(
        "--until", type=date.fromisoformat, metavar="DATE", help="take no fact after this day"
    )
    parser.add_argument("--json", action="store_true", help="one JSON object")


def run(args: argparse.Namespace) -> int:
    """Run and print."""
    from analytics.backtest import backtest

    found = backtest(args.ledger, cutoffs=max(args.cutoffs, 1), until=args.until)
    print(json.dumps(as_dict(found), indent=1) if args.json else as_text(found))
    return 0


def as_dict(found: Backtest) -> dict[str, Any]:
    """Return the figures as plain values."""
    return {
        "cutoffs": [day.isoformat() for day in found.cutoffs],
        "text": found.text,
        "scores": json.loads(found.scores.to_json(orient="records")),
        "reliability": found.reliability,
        "coverage": json.loads(found.coverage.to_json(orient="records")),
        "acted": found.acted,
    }


def as_text(found: Backtest) -> str:
    """Return the figures for a terminal."""
    lines = [found.text]
    if len(found.scores):
        lines.append(
            f"{'':30} {'AUC':>6} {'±':>5} {'skill':>7} {'log':>6} {'expected':>9} {'failed':>7}"
            f" {'top tenth':>10}"
        )
        for row in found.scores.to_dict("records"):
            lines.append(
                f"{row['label']:30} {row['auc']:6.3f} {1.96 * row['auc_se']:5.3f} {row['skill']:7.3f}"
                f" {row['log_score']:6.3f} {row['expected']:9.1f} {row['failures']:7d}"
                f" {row['top_decile_hits']:4d} of {row['top_decile_n']:d}"
            )
    if found.reliability:
        lines.append("Forecast against what happened, in groups of equal size:")
        for group in found.reliability:
            lines.append(
                f"  {100 * group['forecast']:5.1f} % forecast  {100 * group['happened']:5.1f} % failed"
                f"  ({100 * group['low']:.1f} to {100 * group['high']:.1f})  n {group['n']:.0f}"
            )
    for row in found.coverage.to_dict("records"):
        lines.append(
            f"80 % interval, readings {row['readings']}: {100 * row['coverage']:.0f} % inside"
            f" (n {row['n']:.0f})"
        )
    a = found.acted
    lines.append(
        f"Taken off on condition {a['taken_off_on_condition']}: confirmed {a['confirmed_on_strip_down']}, "
        f"tested good {a['tested_good']}, not examined {a['not_examined']}. "
        f"Riskiest tenth left in {a['flagged_and_left']}, of which failed {a['flagged_and_left_failed']}; "
        f"taken off {a['flagged_and_taken_off']}."
    )
    return "\n".join(lines)
