"""The one plain verdict on past forecasts, the days that stood out, and what acting on those lists would have
brought."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analytics.past.normal import Z_80, Z_90, Z_95, as_known, three_digits
from analytics.record.plain_rules import RULES
from analytics.record.scores import auc_difference, auc_interval
from ingest.wording.quantities import count

AS_WELL = 0.02  # a rule whose area under the curve comes this near, or lies above, does as well


@dataclass(frozen=True)
class Acting:
    """What changing the pumps that the lists called for would have brought, at once instead of an interval
    later.

    called: pumps, each at the first past day that called for it; spared: those that failed within the
    interval; cost: of changing all; spared_money: what their failures cost more than a change; given_up_km
    and given_up: the distance run in that interval by all, and its worth at g; missed: failures that no list
    called for; saved_sd: standard deviation of `saved` by the chance of which of them fail.
    """

    called: int
    spared: int
    cost: float
    spared_money: float
    given_up_km: float
    given_up: float
    missed: int
    currency: str
    saved_sd: float

    @property
    def saved(self) -> float:
        """Return what it would have saved in all."""
        return self.spared_money - self.given_up

    @property
    def saved_range(self) -> tuple[float, float]:
        """Return the 80 % range of it."""
        return self.saved - Z_80 * self.saved_sd, self.saved + Z_80 * self.saved_sd


def verdict(judged: pd.DataFrame, scores: pd.DataFrame) -> str:
    """Return told against seen, how well pumps are ranked, and whether a plain rule does as well.

    judged: forecasts with risk, happened, pump_id, as_of. "" without any.
    """
    if not len(judged):
        return ""
    p, o = judged["risk"].to_numpy(float), judged["happened"].to_numpy(bool)
    told, reach = float(p.sum()), Z_90 * float(np.sqrt(np.sum(p * (1 - p))))
    seen = int(o.sum())
    if seen > told + reach:
        fits = "more failed than the forecasts allow"
    elif seen < told - reach:
        fits = "fewer failed than the forecasts allow"
    else:
        fits = "in line"
    parts = [f"told {told:,.1f} failures, seen {seen:,}: {fits}"]
    if len(scores):
        area = auc_interval(p, o, judged["pump_id"].to_numpy())
        if area.value - Z_95 * area.se <= 0.5:
            parts.append("it can't be told from chance which pumps are rated higher")
        else:
            parts.append(f"it ranks {pairs_words(area.value)} pairs rightly")
            parts.append(_against_rules(judged))
    text = "; ".join(parts)
    return f"{text[0].upper()}{text[1:]}."


def pairs_words(share: float) -> str:
    """Return 0.91 as "9 of 10", nearer 1 in hundredths: "98 of 100"."""
    return f"{round(100 * share)} of 100" if share >= 0.945 else f"{round(10 * share)} of 10"


def _against_rules(judged: pd.DataFrame) -> str:
    o, pump = judged["happened"].to_numpy(bool), judged["pump_id"].to_numpy()
    model = judged["risk"].to_numpy(float)
    as_good, unsure = [], []
    for name, label in RULES.items():
        more = auc_difference(model, judged[name].to_numpy(float), o, pump)
        if more.value <= AS_WELL:
            as_good.append(f"'{label}'")
        elif more.value <= Z_95 * more.se:
            unsure.append(f"'{label}'")
    words = []
    if as_good:
        words.append(f"on this fleet {' and '.join(as_good)} {'does' if len(as_good) == 1 else 'do'} as well")
    if unsure:
        words.append(
            f"it ranks better than {' and '.join(unsure)}, but {int(o.sum()):,} failures can't prove it"
        )
    return "; ".join(words) or "no plain rule does as well on this fleet"


def days_outside(by_day: pd.DataFrame) -> list[str]:
    """Return a sentence for each past day whose count lies outside the range that 9 in 10 counts would
    keep."""
    out = []
    for row in by_day.to_dict("records"):
        if row["failed"] < row["low"] - 0.5 or row["failed"] > row["high"] + 0.5:
            side = "more" if row["failed"] > row["expected"] else "fewer"
            out.append(
                f"Of the forecasts of {row['as_of']} {row['failed']:,} failed, {side} than the range of "
                f"{row['low']:.1f} to {row['high']:.1f} ({row['expected']:.1f} expected)."
            )
    return out


def acting(judged: pd.DataFrame, currency: str) -> Acting:
    """Add up what acting on the lists would have brought.

    judged: forecasts with calls (bool), happened, run_km (in the interval), planned, failure, cost_per_km,
    pump_id.
    """
    rows = judged[judged["calls"].astype(bool)].sort_values("as_of", kind="stable")
    rows = rows.drop_duplicates("pump_id")
    failed = rows["happened"].to_numpy(bool)
    run = rows["run_km"].to_numpy(float)
    gap = (rows["failure"] - rows["planned"]).to_numpy(float)
    each = np.where(failed, gap, 0.0) - rows["cost_per_km"].to_numpy(float) * run
    sd = float(np.sqrt(len(each)) * each.std(ddof=1)) if len(each) > 1 else float(np.abs(gap).sum())
    called = set(rows["pump_id"])
    missed = judged[judged["happened"].astype(bool) & ~judged["pump_id"].isin(called)]
    return Acting(
        len(rows), int(failed.sum()), float(rows["planned"].sum()),
        float(gap[failed].sum()), float(run.sum()), float((rows["cost_per_km"].to_numpy(float) * run).sum()),
        int(missed["pump_id"].nunique()), currency, sd,
    )  # fmt: skip


def acting_words(a: Acting, distance: str) -> str:
    """Return it in one sentence, money no finer than it is known; distance: given_up_km in the fleet's own
    unit, in words."""
    if not a.called:
        return "The lists of those days called for no change; " + (
            f"{count(a.missed, 'pump')} failed on the road." if a.missed else "no pump failed."
        )
    low, high = (_saved_or_lost(value, a.saved_sd) for value in a.saved_range)
    cost, spared, given_up = (f"{three_digits(v):,.0f}" for v in (a.cost, a.spared_money, a.given_up))
    return (
        f"Changing the {count(a.called, 'pump')} that the lists of those days called for would have cost "
        f"about {cost} {a.currency} and spared {count(a.spared, 'failure')} on the road, worth {spared} "
        f"more than a change; it gives up {distance} of running in the interval, worth {given_up}: about "
        f"{_saved_or_lost(a.saved, a.saved_sd, a.currency)} (8 in 10, by the chance of which of them fail: "
        f"{low} to {high}). {a.missed:,} more failed that no list called for."
    )


def _saved_or_lost(amount: float, sd: float, currency: str = "") -> str:
    shown = " ".join(word for word in (f"{as_known(abs(amount), sd):,.0f}", currency) if word)
    return f"{shown} {'saved' if amount >= 0 else 'lost'}"
