"""The answer first: which policy, what it saves a year on this fleet, how sure, what would turn it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from analytics.cost_review.intervals import ALL
from analytics.money.policies import AGE, LIMITS, RISK, RUN
from analytics.past.normal import interval, three_digits

NAMES = {RUN: "run to failure", AGE: "fixed age", LIMITS: "limits on the last reading", RISK: "condition"}
WORDS = {
    0.5: "twice as many stops", 1.0: "every stop", 1.5: "two stops in three", 2.0: "every second stop",
    3.0: "every third stop", 4.0: "every fourth stop",
}  # fmt: skip
MONEY_COLUMNS = ("cost", "cost_low", "cost_high", "saving", "saving_low", "saving_high", "capture_cost")
EVENT_COLUMNS = ("replacements", "planned", "breakdowns", "captures", "needless")


@dataclass(frozen=True)
class Question:
    """What the answer is made from: money and distances in the fleet's own units.

    year: `per_year`; against_age: what the condition rule saves a year against the fixed age, with its 80 %
    range; intervals, warnings: as intervals.by_interval with interval and distances in distance_unit;
    capture_price, planned, failure: prices now; pays_from_ratio: of failure to planned.
    """

    year: pd.DataFrame
    distance_per_year: float
    distance_unit: str
    currency: str
    against_age: tuple[float, float, float]
    intervals: pd.DataFrame
    warnings: pd.DataFrame
    capture_price: float
    planned: float
    failure: float
    pays_from_ratio: float
    ages: str = ""  # of the fixed-age policy, in words


def per_year(table: pd.DataFrame, factor: float) -> pd.DataFrame:
    """Return the policies per year for the whole fleet: money and events times `factor` (years' distance over
    the distance that the table is per)."""
    out = table[["policy", *MONEY_COLUMNS, *EVENT_COLUMNS]].copy()
    out[[*MONEY_COLUMNS, *EVENT_COLUMNS]] *= factor
    return out


def age_words(table: pd.DataFrame, unit: str = "") -> str:
    """Return the chosen ages in words, or "": "75,500", "66,700 to 96,500"; with a unit "66,700 to 96,500 mi
    by type"."""
    rows = table[table["policy"] == AGE]
    if rows.empty or not np.isfinite(rows["setting"].iloc[0]):
        return ""
    low, high = (f"{three_digits(rows[n].iloc[0]):,.0f}" for n in ("setting_low", "setting_high"))
    if low == high:
        return f"{low} {unit}".strip()
    return f"{low} to {high}" + (f" {unit} by type" if unit else "")


def answer(q: Question) -> tuple[str, ...]:
    """Return the sentences to begin with; the first is what a year costs, or where monitoring surely costs
    more than it saves, that."""
    if q.year.empty or not q.distance_per_year > 0:
        return ("No pump is in service, so there is no policy to compare.",)
    cost = _costs(q)
    other = min((RUN, AGE), key=lambda name: cost[name])
    first, more = _in_a_year(q), interval_sentences(q)
    dearer = cost[RISK] > cost[other]
    if _unsure(q, other):
        return (first, _as_good(q, other), *(_turned_by(q, other) if dearer else ()), *more)
    if dearer:
        return (_costs_more(q, other), *_turned_by(q, other), first, *more)
    return (first, _costs_least(q), *more)


def _in_a_year(q: Question) -> str:
    cost, row = _costs(q), _row(q, RISK)
    (run, age, risk, low, high), unit = scaled(
        [cost[RUN], cost[AGE], cost[RISK], row["cost_low"], row["cost_high"]], q.currency, top=cost[RUN]
    )
    where = distance_words(q.distance_per_year, q.distance_unit)
    at = f" ({q.ages})" if q.ages else ""
    return (
        f"On this fleet, in a year at {where}: run to failure {run}, fixed age{at} {age}, condition {risk} "
        f"{unit} "
        f"(8 in 10: {low} to {high}), captures counted."
    )


def _costs_least(q: Question) -> str:
    row = _row(q, RISK)
    return (
        f"Condition costs least: it saves {_against_failure(q)} a year against running to failure and "
        f"{money_range(*q.against_age, q.currency)} against a fixed age; its captures, "
        f"{money(row['capture_cost'], q.currency)} a year, are paid in that."
    )


def _against_failure(q: Question) -> str:
    row = _row(q, RISK)
    return money_range(row["saving"], row["saving_low"], row["saving_high"], q.currency)


def _saved(q: Question, other: str) -> tuple[float, float, float]:
    """Return what the condition rule saves a year against another policy, with its 80 % range."""
    row = _row(q, RISK)
    return q.against_age if other == AGE else (row["saving"], row["saving_low"], row["saving_high"])


def _unsure(q: Question, other: str) -> bool:
    """Return whether what the condition rule saves against another can't be told from nothing."""
    _, low, high = _saved(q, other)
    return bool(low <= 0 <= high)


def _as_good(q: Question, other: str) -> str:
    saved, low, high = _saved(q, other)
    (by, spared, beyond), unit = scaled([abs(saved), high, -low], q.currency)
    beside = "" if other == RUN else f" Against running to failure it saves {_against_failure(q)}."
    return (
        f"Condition and {NAMES[other]} can't be told apart on this fleet: condition costs {by} {unit} a year "
        f"{'less' if saved > 0 else 'more'} (8 in 10: from {spared} less to {beyond} more), its captures, "
        f"{money(_row(q, RISK)['capture_cost'], q.currency)} a year, paid in that.{beside}"
    )


def _costs_more(q: Question, other: str) -> str:
    cost = _costs(q)
    return (
        "Condition monitoring costs more than it saves on this fleet: "
        f"{money(cost[RISK] - cost[other], q.currency)} a year more than {NAMES[other]}; its captures alone "
        f"cost {money(_row(q, RISK)['capture_cost'], q.currency)} a year."
    )


def _turned_by(q: Question, other: str) -> list[str]:
    cost, row = _costs(q), _row(q, RISK)
    told = []
    spare = cost[other] - (row["cost"] - row["capture_cost"])
    if row["captures"] > 0 and spare > 0:
        told.append(
            f"captures under {_each(spare / row['captures'])} {q.currency} each "
            f"(now {_each(q.capture_price)})"
        )
    best = _interval_row(q, "is_best")
    if best and not best["is_own"] and cost[RUN] - best["saving"] < cost[other]:
        told.append(f"a capture at {WORDS[best['times']]}")
    dearer = q.pays_from_ratio * q.planned
    if np.isfinite(dearer) and dearer > q.failure:
        told.append(f"failures dearer than {dearer:,.0f} {q.currency} each (now {q.failure:,.0f})")
    if not told:
        return ["Nothing looked at (cheaper captures, another interval, dearer failures) would turn that."]
    return [f"It would pay with {', or '.join(told)}."]


def _each(price: float) -> str:
    """Return a price as said, three digits: "29.6", "30", "1,240"."""
    return f"{three_digits(price):,g}"


def interval_sentences(q: Question) -> list[str]:
    """Return how often to capture, and how far ahead a coming failure of the commonest type shows."""
    best, own = _interval_row(q, "is_best"), _interval_row(q, "is_own")
    if not best or not own:
        return []
    now = money(own["saving"], q.currency)
    if best["is_own"]:
        out = [f"Of the intervals looked at a capture at every stop, as now, saves most: {now} a year."]
    else:
        out = [
            f"A capture at {WORDS[best['times']]} would save {money(best['saving'], q.currency)} a year "
            "against "
            f"running to failure, at every stop, as now, {now}."
        ]
    w: Any = q.warnings.iloc[0].to_dict() if len(q.warnings) else {"warning_p50": np.nan}
    if np.isfinite(w["warning_p50"]):
        middle, least, most = (
            f"{three_digits(w[n]):,.0f}" for n in ("warning_p50", "warning_p10", "at_most")
        )
        as_set = f"{interval(w['interval']):,.0f}"
        out.append(
            f"A coming failure of {w['pump_type']}, the commonest type, shows about {middle} "
            f"{q.distance_unit} ahead "
            f"(1 in 10 under {least}); {100 * w['without_warning']:.0f} % come unannounced. By the rule of "
            "half a "
            f"capture is due every {most} {q.distance_unit} at most; the fleet's {as_set} "
            f"{'keep' if w['within_rule'] else 'break'} it{_beyond(best, w)}."
        )
    return out


def _beyond(best: Any, w: Any) -> str:
    """Return that the interval which saves most breaks the rule of half for this type, if it does."""
    longest = best["times"] * w["interval"]
    if best["is_own"] or longest <= w["at_most"]:
        return ""
    return (
        f", {WORDS[best['times']]} ({three_digits(longest):,.0f}) would not: weigh the saving against less "
        "warning"
    )


def _costs(q: Question) -> dict[str, float]:
    return dict(zip(q.year["policy"], q.year["cost"].astype(float), strict=True))


def _row(q: Question, policy: str) -> Any:
    return q.year[q.year["policy"] == policy].iloc[0].to_dict()


def _interval_row(q: Question, mark: str) -> Any:
    rows = q.intervals[q.intervals["pump_type"] == ALL] if len(q.intervals) else q.intervals
    rows = rows[rows[mark].astype(bool)] if len(rows) else rows
    return {} if rows.empty else rows.iloc[0].to_dict()


def scaled(values: Sequence[float], currency: str, top: float | None = None) -> tuple[list[str], str]:
    """Return amounts as said and the unit they share: (["1.21", "1.06"], "million USD").

    top: the amount that chooses the unit; default: the largest.
    """
    if (top if top is not None else max(abs(v) for v in values)) >= 1e6:
        return [f"{v / 1e6:,.2f}" for v in values], f"million {currency}"
    return [f"{three_digits(v):,.0f}" for v in values], currency


def money(amount: float, currency: str) -> str:
    """Return an amount no finer than it is known, three digits: "133,000 USD"."""
    (shown,), unit = scaled([amount], currency)
    return f"{shown} {unit}"


def money_range(amount: float, low: float, high: float, currency: str) -> str:
    """Return an amount with its 80 % range."""
    (a, b, c), unit = scaled([amount, low, high], currency)
    return f"{a} {unit} (8 in 10: {b} to {c})"


def distance_words(distance: float, unit: str) -> str:
    """Return a distance as said: "8.8 million mi", "640,000 mi"."""
    if distance >= 1e6:
        return f"{distance / 1e6:,.1f} million {unit}"
    return f"{float(f'{distance:.2g}'):,.0f} {unit}"
