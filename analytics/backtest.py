"""How past forecasts would have done: stand on past days, forecast with what was known, compare with what
came.

On each cut-off day the model is fitted on facts dated by then, and every pump in service is forecast over
its next
PM interval. A pump counts where the records reach far enough to have seen the whole interval at its daily
distance,
whatever became of it; one taken off unfailed in between is counted apart, for nobody knows what it would
have done.
Plain rules stand beside it, each turned into a chance by a logistic curve through the earlier cut-offs.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import expit

from analytics.first_passage import fit_lines, fit_wiener, passage
from analytics.fitting import fit_history
from analytics.forecast import State, score
from analytics.history import EPOCH, History, read_history
from analytics.model import risk_model
from analytics.ranking import DEFAULT_HORIZON_KM
from analytics.remaining_life import distance_left
from analytics.scores import auc_interval, brier, brier_skill, calibration_slope, log_score, reliability_bins
from ingest.ledger import open_ledger

MIN_FAILURES = 5  # below this many nothing can be said about the forecasts
RULES = {
    "model": "this model",
    "limits": "last reading against limits",
    "least_squares": "straight line per pump",
    "steady_drift": "steady drift with noise",
    "age": "distance on the pump",
}


@dataclass(frozen=True)
class Backtest:
    """forecasts: one row per pump and cut-off (as_of, pump_id, unit, risk, happened, judged, readings, ...).

    scores: one row per method (auc, auc_se, brier, skill, log_score, top_decile_hits, ...); reliability:
    groups;
    coverage: by number of readings; acted: what became of pumps taken off on condition and of high risks
    left; text: what may and may not be concluded.
    """

    cutoffs: tuple[date, ...]
    forecasts: pd.DataFrame
    scores: pd.DataFrame
    reliability: list[dict[str, float]]
    coverage: pd.DataFrame
    acted: dict[str, int]
    text: str


def backtest(
    ledger: Path,
    *,
    cutoffs: int = 4,
    until: date | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Backtest:
    """Run `cutoffs` evenly spaced past days, the last one PM interval or so before the end of the records.

    Raises LedgerError when there is no ledger.
    """
    with open_ledger(ledger) as connection:
        everything = read_history(connection, until)
        days = cutoff_days(everything, cutoffs)
        pasts = [read_history(connection, day) for day in days]
    return backtest_histories(everything, pasts, progress)


def cutoff_days(history: History, cutoffs: int) -> list[date]:
    """Return cut-off days spread over the second half of the records."""
    if not len(history.visits):
        return []
    first, last = float(history.visits["day"].min()), float(history.as_of_day)
    pumps = history.pumps
    interval: pd.Series = pumps["pm_interval_km"].fillna(DEFAULT_HORIZON_KM) / np.maximum(
        pumps["unit_km_per_day"], 1e-6
    )
    end = last - float(interval.quantile(0.8))
    start = first + 0.4 * (last - first)
    if end <= start:
        return []
    return [EPOCH + timedelta(days=int(d)) for d in np.linspace(start, end, cutoffs)]


def backtest_histories(
    everything: History, pasts: list[History], progress: Callable[[int, int], None] | None = None
) -> Backtest:
    """As `backtest`, from histories read at each cut-off."""
    frames: list[pd.DataFrame] = []
    for k, past in enumerate(pasts):
        if progress:
            progress(k, len(pasts))
        if len(past.pumps):
            frames.append(_judge(score(past, fit_history(past)), everything))
    forecasts = (
        pd.concat(frames, ignore_index=True)
        if frames
        else pd.DataFrame(columns=["judged", "happened", "risk"])
    )
    judged = forecasts[forecasts["judged"].astype(bool)].reset_index(drop=True)
    happened = judged["happened"].to_numpy(bool)
    table = _scores(judged) if len(judged) else pd.DataFrame()
    return Backtest(
        tuple(past.as_of for past in pasts),
        forecasts,
        table,
        reliability_bins(judged["risk"].to_numpy(float), happened) if len(judged) else [],
        _coverage(forecasts),
        _acted(everything, forecasts),
        _text(len(judged), int(happened.sum()), len(pasts)),
    )


def _judge(state: State, everything: History) -> pd.DataFrame:
    """Forecast all pumps in service on one cut-off day and add what happened."""
    past, p = state.history, state.fit.parameters
    model = risk_model(p)
    pumps = past.pumps.iloc[state.rows].reset_index(drop=True)
    ratio: np.ndarray = (pumps["km_per_day"] / np.maximum(pumps["unit_km_per_day"], 1e-9)).to_numpy(float)
    d = pumps["pm_interval_km"].fillna(DEFAULT_HORIZON_KM).to_numpy(float) * ratio
    risk, _ = model.risk(state.known, state.d_0, d)
    band = distance_left(model, state.known, state.d_0)
    later = everything.pumps.set_index("pump_id").reindex(pumps["pump_id"])
    ran = later["now_km"].to_numpy(float) - (pumps["now_km"] + pumps["restart_km"]).to_numpy(float)
    failed, removed = later["failed"].to_numpy(bool), later["removed"].to_numpy(bool)
    reach = (everything.as_of_day - past.as_of_day) * pumps["km_per_day"].to_numpy(float) >= d
    taken_off = removed & ~failed & (ran < d)
    rows = np.arange(len(pumps))
    base = model.log_survival(state.known, state.d_0).total
    seen = 1 - np.exp(base - model.log_survival(state.known, state.d_0 + np.maximum(ran, 0.0)).total)
    counts = np.zeros(len(past.pumps), int)
    counts[state.filtered.tracks.order] = state.filtered.tracks.counts
    last = (
        past.visits.groupby("pump")[["ripple_pct", "mean_a", "rpm"]]
        .last()
        .reindex(state.rows)
        .reset_index(drop=True)
    )
    return pd.DataFrame(
        {
            "as_of": past.as_of,
            "pump_id": pumps["pump_id"],
            "unit": pumps["unit"],
            "pump_type": pumps["pump_type"],
            "risk": risk,
            "happened": failed & (ran <= d) & (ran > 0),
            "judged": reach & ~taken_off & (ran > 0),
            "taken_off": taken_off & reach,
            "readings": counts[state.rows],
            "distance_left_p10_km": band[rows, 0],
            "distance_left_p50_km": band[rows, 1],
            "distance_left_p90_km": band[rows, 2],
            "ran_km": ran,
            "failed_later": failed,
            "chance_by_end": np.clip(seen, 0, 1),
            "limits": _against_limits(last, pumps),
            "least_squares": _line(past, state.rows, d),
            "steady_drift": _steady_drift(past, state.rows, d),
            "age": pumps["now_km"].to_numpy(float) / 1e5,
        }
    )


def _against_limits(last: pd.DataFrame, pumps: pd.DataFrame) -> np.ndarray:
    """How near the worst metric of the last reading is to its limit (1: at it)."""
    ripple = last["ripple_pct"] / pumps["ripple_limit_pct"].fillna(15.0)
    width = (pumps["current_high_a"] - pumps["current_low_a"]) / 2
    current = (last["mean_a"] - (pumps["current_high_a"] + pumps["current_low_a"]) / 2).abs() / width
    slow = pumps["rpm_low"].fillna(3400.0) / last["rpm"]
    return pd.concat([ripple, current, slow], axis=1).max(axis=1).fillna(0.5).to_numpy(float)


def _line(past: History, rows: np.ndarray, d: np.ndarray) -> np.ndarray:
    """Ripple over its limit at the horizon on a least-squares line through each pump's readings."""
    v = past.visits[past.visits["ripple_pct"].notna() & past.visits["usable"]]
    pump, x, y = v["pump"].to_numpy(int), v["x_km"].to_numpy(float) / 1e5, v["ripple_pct"].to_numpy(float)
    lines = fit_lines(pump, x, y, len(past.pumps))
    mean = pd.Series(y).groupby(pump).mean().reindex(rows).to_numpy()
    at = (past.pumps["now_km"].to_numpy(float)[rows] + d) / 1e5
    ahead = np.where(np.isnan(lines.slope[rows]), mean, lines.intercept[rows] + lines.slope[rows] * at)
    limit = past.pumps["ripple_limit_pct"].fillna(15.0).to_numpy(float)[rows]
    return np.nan_to_num(np.clip(ahead / limit, -2, 5), nan=0.5)


def _steady_drift(past: History, rows: np.ndarray, d: np.ndarray) -> np.ndarray:
    """Chance that a Wiener process with the fleet's drift takes ripple from its last reading past its
    limit."""
    v = past.visits[past.visits["ripple_pct"].notna() & past.visits["usable"]]
    pump, x, y = v["pump"].to_numpy(int), v["x_km"].to_numpy(float), v["ripple_pct"].to_numpy(float)
    step = np.diff(x)
    ok = (pump[1:] == pump[:-1]) & (step > 500)
    last = pd.Series(y).groupby(pump).last().reindex(rows).to_numpy()
    limit = past.pumps["ripple_limit_pct"].fillna(15.0).to_numpy(float)[rows]
    out = np.zeros(len(rows))
    if ok.sum() < 10:
        return out
    process = fit_wiener(np.diff(y)[ok], step[ok])
    if process.drift <= 0:
        return out
    gap = np.maximum(limit - last, 0.01)
    known = ~np.isnan(gap)
    out[known] = passage(process, gap[known]).cdf(d[known])
    return out


def _scores(judged: pd.DataFrame) -> pd.DataFrame:
    happened = judged["happened"].to_numpy(bool)
    as_of = judged["as_of"].to_numpy()
    # Rules become chances only through earlier cut-offs; the first has none, so all are compared after it.
    later = as_of > as_of.min() if len(set(as_of)) > 1 else np.ones(len(judged), bool)
    out = []
    for name, label in RULES.items():
        raw = judged["risk" if name == "model" else name].to_numpy(float)
        area = auc_interval(raw, happened)
        chance = raw if name == "model" else _as_chance(raw, happened, as_of)
        p, o = chance[later], happened[later]
        top = np.argsort(-raw, kind="stable")[: max(len(raw) // 10, 1)]
        slope = calibration_slope(p, o)
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
                "top_decile_hits": int(happened[top].sum()),
                "top_decile_n": len(top),
            }
        )
    return pd.DataFrame(out)


def _as_chance(raw: np.ndarray, happened: np.ndarray, as_of: np.ndarray) -> np.ndarray:
    """Turn a rule's score into a chance by logistic regression on earlier cut-offs (lightly ridged)."""
    out = np.full(len(raw), np.nan)
    for day in np.unique(as_of):
        earlier, now = as_of < day, as_of == day
        o = happened[earlier].astype(float)
        base = np.log((o.sum() + 0.5) / (len(o) - o.sum() + 0.5)) if len(o) else 0.0
        mean = raw[earlier].mean() if len(o) else 0.0
        b = np.array([base, 0.0])
        x = np.column_stack([np.ones(int(earlier.sum())), raw[earlier] - mean])
        for _ in range(25 if len(o) else 0):
            q = expit(x @ b)
            info = (x * (q * (1 - q))[:, None]).T @ x + np.diag([1e-3, 0.1])
            b = b + np.linalg.solve(info, x.T @ (o - q) - np.array([0.0, 0.1 * b[1]]))
        out[now] = expit(b[0] + b[1] * (raw[now] - mean))
    return out


def _coverage(forecasts: pd.DataFrame) -> pd.DataFrame:
    """Share of lives that ended inside the 80 % interval, by number of readings.

    A pump still running counts by the chance, under its own forecast, that it will end inside.
    """
    if not len(forecasts):
        return pd.DataFrame(columns=["readings", "n", "coverage"])
    f = np.where(forecasts["ran_km"] > 0, forecasts["chance_by_end"], 0.0).astype(float)
    ended = forecasts["failed_later"].to_numpy(bool)
    inside = np.where(
        ended, (f >= 0.1) & (f <= 0.9), np.maximum(0.9 - np.maximum(f, 0.1), 0) / np.maximum(1 - f, 1e-9)
    )
    group = np.select([forecasts["readings"] == k for k in (0, 1, 2)], ["0", "1", "2"], "3 or more")
    made = pd.DataFrame({"readings": group, "inside": inside, "ended": ended})
    out = made.groupby("readings").agg(
        n=("inside", "size"), ended=("ended", "sum"), coverage=("inside", "mean")
    )
    whole = pd.DataFrame(
        {"n": [len(made)], "ended": [int(ended.sum())], "coverage": [inside.mean()]}, index=["all"]
    )
    return pd.concat([out, whole]).rename_axis("readings").reset_index()


def _acted(everything: History, forecasts: pd.DataFrame) -> dict[str, int]:
    """Count what became of pumps taken off on condition, and of high risks that were left in."""
    pumps = everything.pumps
    condition = pumps[pumps["removal"] == "on_condition"]
    found = condition["found"].fillna("not_examined").replace("", "not_examined")
    out: dict[str, Any] = {
        "taken_off_on_condition": len(condition),
        "confirmed_on_strip_down": int(found.isin(["worn", "seized", "electrical"]).sum()),
        "tested_good": int((found == "tested_good").sum()),
        "not_examined": int((found == "not_examined").sum()),
        "flagged_and_left": 0,
        "flagged_and_left_failed": 0,
        "flagged_and_taken_off": 0,
    }
    if len(forecasts):
        high = forecasts["risk"] >= forecasts.groupby("as_of")["risk"].transform(lambda r: r.quantile(0.9))
        left = forecasts[high & forecasts["judged"].astype(bool)]
        out["flagged_and_left"] = len(left)
        out["flagged_and_left_failed"] = int(left["happened"].sum())
        out["flagged_and_taken_off"] = int((high & forecasts["taken_off"].astype(bool)).sum())
    return out


def _text(n: int, failures: int, cutoffs: int) -> str:
    if not cutoffs or not n:
        return "The records are too short to stand on a past day and see a whole interval go by."
    if failures < MIN_FAILURES:
        return f"{n} forecasts on {cutoffs} past days met {failures} failures: too few to judge any method."
    return (
        f"{n} forecasts on {cutoffs} past days, {failures} of them followed by a failure before the next "
        "interval ended. "
        "Each used only facts dated by its day. Pumps taken off on condition in between are counted apart."
    )
