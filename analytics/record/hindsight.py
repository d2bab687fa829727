"""What past forecasts and what came of them may be said to show: scores, ranges, what people did."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from analytics.learning.gaps import FOUND
from analytics.past.history import History
from analytics.past.normal import Z_90
from analytics.record.plain_rules import RULES, as_chance
from analytics.record.scores import auc_interval, brier, brier_skill, calibration_slope, log_score

MIN_FAILURES = 5  # below this many no method can be told from another
FLAGGED = 0.9  # quantile of risk on a past day, above which a pump counts as flagged
INVENTED = (
    "The records of this fleet are invented: what stands here shows how looking back works, "
    "and is no evidence for any real fleet."
)


def method_scores(judged: pd.DataFrame) -> pd.DataFrame:
    """Return one row per method, all on the same forecasts: those after the first past day.

    A rule becomes a chance only through earlier days. Empty where fewer than MIN_FAILURES came true.
    """
    if not len(judged):
        return pd.DataFrame()
    happened, as_of = judged["happened"].to_numpy(bool), judged["as_of"].to_numpy()
    later = as_of > as_of.min()
    o = happened[later]
    if o.sum() < MIN_FAILURES or o.all():
        return pd.DataFrame()
    pump = judged["pump_id"].to_numpy()[later]
    out = []
    for name, label in ({"model": "this model"} | RULES).items():
        raw = judged["risk" if name == "model" else name].to_numpy(float)
        p = (raw if name == "model" else as_chance(raw, happened, as_of))[later]
        area, slope = auc_interval(raw[later], o, pump), calibration_slope(p, o, pump)
        top = np.argsort(-raw[later], kind="stable")[: max(len(o) // 10, 1)]
        out.append(
            {
                "method": name,
                "label": label,
                "n": len(o),
                "failures": int(o.sum()),
                "auc": area.value,
                "auc_se": area.se,
                "brier": brier(p, o),
                "skill": brier_skill(p, o),
                "log_score": log_score(p, o),
                "expected": float(p.sum()),
                "calibration_slope": slope.value,
                "calibration_slope_se": slope.se,
                "top_decile_hits": int(o[top].sum()),
                "top_decile_n": len(top),
            }
        )
    return pd.DataFrame(out)


def by_day(judged: pd.DataFrame) -> pd.DataFrame:
    """Return by past day: forecasts, expected (sum of risks) with its 90 % range, failed."""
    days = judged.groupby("as_of", sort=True)
    expected = days["risk"].sum().astype(float)
    sd = days["risk"].apply(lambda p: float((p * (1 - p)).sum()) ** 0.5)
    return pd.DataFrame(
        {
            "as_of": expected.index,
            "forecasts": days.size().to_numpy(),
            "expected": expected.to_numpy(),
            "low": (expected - Z_90 * sd).clip(lower=0).to_numpy(),
            "high": (expected + Z_90 * sd).to_numpy(),
            "failed": days["happened"].sum().astype(int).to_numpy(),
        }
    )


def acted_on(everything: History, forecasts: pd.DataFrame) -> dict[str, int]:
    """Count what strip-downs of pumps taken off on condition showed, and what became of high risks.

    The first four are of the whole record; flagged_*: of the riskiest tenth on each past day.
    """
    pumps = everything.pumps
    condition = pumps[pumps["removal"] == "on_condition"] if len(pumps) else pumps
    out: dict[str, Any] = {"taken_off_on_condition": len(condition)} | _strip_downs(condition)
    names = ("left", "left_failed", "taken_off", "taken_off_confirmed", "taken_off_tested_good")
    out |= {f"flagged_and_{name}": 0 for name in names} | {"taken_off_in_between": 0}
    if not len(forecasts):
        return out
    judged, gone = (forecasts[name].to_numpy(bool) for name in ("judged", "taken_off"))
    high = forecasts["risk"] >= forecasts.groupby("as_of")["risk"].transform(lambda r: r.quantile(FLAGGED))
    left, taken = forecasts[high & judged], forecasts[high & gone]
    found = _strip_downs(pumps.set_index("pump_id").reindex(taken["pump_id"]))
    return out | {
        "flagged_and_left": len(left),
        "flagged_and_left_failed": int(left["happened"].sum()),
        "flagged_and_taken_off": len(taken),
        "flagged_and_taken_off_confirmed": found["confirmed_on_strip_down"],
        "flagged_and_taken_off_tested_good": found["tested_good"],
        "taken_off_in_between": int(gone.sum()),
    }


def _strip_downs(pumps: pd.DataFrame) -> dict[str, int]:
    found = pumps["found"].fillna("").replace("", "not_examined") if len(pumps) else pd.Series(dtype=str)
    return {
        "confirmed_on_strip_down": int(found.isin(FOUND).sum()),
        "tested_good": int((found == "tested_good").sum()),
        "not_examined": int((found == "not_examined").sum()),
    }


def in_words(
    everything: History, forecasts: pd.DataFrame, cutoffs: int, scores: pd.DataFrame, invented: bool
) -> str:
    """Return what may and may not be concluded, in plain sentences."""
    return " ".join(([INVENTED] if invented else []) + _sentences(everything, forecasts, cutoffs, scores))


def _sentences(everything: History, forecasts: pd.DataFrame, cutoffs: int, scores: pd.DataFrame) -> list[str]:
    if not len(everything.pumps):
        return ["No pump is recorded yet, so there is nothing to look back on."]
    if not len(everything.visits):
        return ["No visit is recorded yet, so there is no past day to forecast from."]
    judged = forecasts[forecasts["judged"].astype(bool)] if len(forecasts) else forecasts
    n = len(judged)
    if not cutoffs or not n:
        return [
            "The records are too short to stand on a past day and see a whole interval go by; "
            "come back when pumps have been followed for longer than that."
        ]
    failed = judged[judged["happened"].astype(bool)]
    k, expected = len(failed), float(judged["risk"].sum())
    days = f"{cutoffs} past day{'s' if cutoffs > 1 else ''}"
    begin = f"{n:,} forecast{'s' if n > 1 else ''} on {days}, each from facts dated by its day"
    if k == 0:
        none = float(np.exp(np.log1p(-judged["risk"].clip(upper=1 - 1e-12)).sum()))
        out = [
            f"{begin}: none was followed by a failure before the next visit was due, where {expected:.1f} "
            f"were expected (the chance of none was {100 * none:.0f} %). Without a failure nothing can be "
            "said about which pumps are rated right."
        ]
    else:
        pumps = failed["pump_id"].nunique()
        twice = f" ({pumps} different pumps: the days lie closer than an interval)" if pumps < k else ""
        out = [
            f"{begin}: {k} {_were(k)} followed by a failure before the next visit was due{twice}, where "
            f"{expected:.1f} were expected."
        ]
        if cutoffs == 1:
            out.append("On a single past day there is nothing for the plain rules to learn from.")
        elif not len(scores):
            out.append(
                f"Under {MIN_FAILURES} failures after the first day no method can be told from another."
            )
    gone = forecasts[forecasts["taken_off"].astype(bool)]
    if len(gone):
        both = expected + float(gone["risk"].sum())
        out.append(
            f"{len(gone)} more {_were(len(gone))} cut short by taking the pump off unfailed; nobody knows "
            "what it would have done, so it counts nowhere above. With these, "
            f"{both:.1f} were expected, against {k} failures if none of them would have failed and "
            f"{k + len(gone)} if all."
        )
    return out


def _were(n: int) -> str:
    return "was" if n == 1 else "were"
