"""How past forecasts would have done: stand on past days, forecast with what was known, compare with what
came.

On each past day the model is fitted on facts dated by then, and every pump in service is forecast over its
next PM interval. A pump counts where the records reach far enough to have seen the whole interval at its
daily distance, whatever became of it; one taken off unfailed in between is counted apart, for nobody knows
what it would have done. Plain rules stand beside it (analytics/record/plain_rules.py).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pandas as pd

from analytics.learning.fitting import fit_history
from analytics.money.cost_book import CostBook, cost_book
from analytics.money.interval_rule import break_even_risk
from analytics.money.long_run import LongRun
from analytics.past.distance import own_interval_km
from analytics.past.frames import fetch
from analytics.past.history import EPOCH, History, read_history
from analytics.record.conclusion import Acting, acting, days_outside, verdict
from analytics.record.hindsight import acted_on, by_day, in_words, method_scores
from analytics.record.life_ranges import coverage
from analytics.record.plain_rules import rule_scores
from analytics.record.scores import reliability_bins
from analytics.record.told import Told, judge_told
from analytics.risk.forecast import State, score
from analytics.wear_model.model import risk_model
from analytics.wear_model.remaining_life import distance_left
from ingest.ledger.connection import open_ledger
from ingest.ledger.settings import settings_at
from ingest.trade_numbers import USUAL_INTERVAL_KM

EMPTY = (
    "as_of", "pump_id", "risk", "happened", "judged", "taken_off", "calls", "run_km", "planned", "failure",
    "cost_per_km",
)  # fmt: skip


@dataclass(frozen=True)
class Backtest:
    """forecasts: one row per pump and past day (as_of, pump_id, unit, risk, happened, judged, readings, ...).

    by_day: expected and failed; scores: one row per method (auc, auc_se, brier, skill, log_score,
    top_decile_hits, ...), empty with too few failures; reliability: groups of equal size; coverage: by number
    of readings; acted: what became of pumps taken off on condition and of high risks left; invented: whether
    the fleet is; text: what may and may not be concluded; told: forecasts kept as they were told.
    """

    cutoffs: tuple[date, ...]
    forecasts: pd.DataFrame
    by_day: pd.DataFrame
    scores: pd.DataFrame
    reliability: list[dict[str, float]]
    coverage: pd.DataFrame
    acted: dict[str, int]
    invented: bool
    text: str
    verdict: str
    outside: tuple[str, ...]
    acting: Acting
    distance_unit: str
    told: Told = field(default_factory=Told)


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
        pasts = [read_history(connection, day) for day in cutoff_days(everything, cutoffs)]
        invented = settings_at(connection)["records_are"] == "invented"
        book = cost_book(connection, max(date.today(), everything.as_of))
        told = judge_told(fetch(connection, "told_until", [until]), everything)
    made = backtest_histories(everything, pasts, progress, invented=invented, book=book)
    return replace(made, told=told)


def cutoff_days(history: History, cutoffs: int) -> list[date]:
    """Return past days spread over the second half of the records; none where they are too short."""
    if not len(history.visits):
        return []
    first, last = float(history.visits["day"].min()), float(history.as_of_day)
    pumps = history.pumps
    interval: pd.Series = pumps["pm_interval_km"].fillna(USUAL_INTERVAL_KM) / np.maximum(
        pumps["unit_km_per_day"], 1e-6
    )
    end = last - float(interval.quantile(0.8))
    start = first + 0.4 * (last - first)
    if end <= start:
        return []
    days = np.unique(np.linspace(start, end, cutoffs).astype(int))
    return [EPOCH + timedelta(days=int(d)) for d in days]


def backtest_histories(
    everything: History,
    pasts: list[History],
    progress: Callable[[int, int], None] | None = None,
    *,
    invented: bool = False,
    book: CostBook | None = None,
) -> Backtest:
    """As `backtest`, from histories read at each past day; book: prices of today (default: placeholders)."""
    book = book or CostBook(everything.as_of, "USD", (), {})
    frames: list[pd.DataFrame] = []
    for k, past in enumerate(pasts):
        if progress:
            progress(k, len(pasts))
        if len(past.pumps):
            frames.append(_forecast(score(past, fit_history(past)), everything, book))
    if progress and pasts:
        progress(len(pasts), len(pasts))
    forecasts = pd.concat(frames, ignore_index=True) if frames else pd.DataFrame(columns=list(EMPTY))
    judged = forecasts[forecasts["judged"].astype(bool)].reset_index(drop=True)
    scores, days = method_scores(judged), by_day(judged)
    return Backtest(
        tuple(past.as_of for past in pasts),
        forecasts,
        days,
        scores,
        reliability_bins(judged["risk"].to_numpy(float), judged["happened"].to_numpy(bool)),
        coverage(forecasts),
        acted_on(everything, forecasts),
        invented,
        in_words(everything, forecasts, len(pasts), scores, invented),
        verdict(judged, scores),
        tuple(days_outside(days)),
        acting(judged, book.currency),
        str(everything.settings["distance_unit"]),
    )


def _forecast(state: State, everything: History, book: CostBook) -> pd.DataFrame:
    """Forecast all pumps in service on one past day and add what happened."""
    past = state.history
    model = risk_model(state.fit.parameters)
    pumps = past.pumps.iloc[state.rows].reset_index(drop=True)
    d = own_interval_km(pumps)
    risk, _ = model.risk(state.known, state.d_0, d)
    band = distance_left(model, state.known, state.d_0)
    later = everything.pumps.set_index("pump_id").reindex(pumps["pump_id"])
    ran = later["now_km"].to_numpy(float) - (pumps["now_km"] + pumps["restart_km"]).to_numpy(float)
    failed, removed = later["failed"].to_numpy(bool), later["removed"].to_numpy(bool)
    reach = (everything.as_of_day - past.as_of_day) * pumps["km_per_day"].to_numpy(float) >= d
    taken_off = removed & ~failed & (ran < d)
    base = model.log_survival(state.known, state.d_0).total
    seen = 1 - np.exp(base - model.log_survival(state.known, state.d_0 + np.maximum(ran, 0.0)).total)
    priced = book.price_frame(pumps)
    planned, failure = priced["planned"].to_numpy(float), priced["failure"].to_numpy(float)
    long_run = LongRun.from_plain(state.fit.parameters.summary["long_run"])
    g = long_run.cost_per_km(pumps["pump_type"], planned, failure)
    of_new, _ = model.risk(state.new_pumps, np.zeros(len(d)), d)
    counts = np.zeros(len(past.pumps), int)
    counts[state.filtered.tracks.order] = state.filtered.tracks.counts
    made = pd.DataFrame(
        {
            "as_of": past.as_of,
            "pump_id": pumps["pump_id"],
            "unit": pumps["unit"],
            "position": pumps["position"],
            "fitted_on": pd.Timestamp(EPOCH) + pd.to_timedelta(pumps["fitted_day"], unit="D"),
            "pump_type": pumps["pump_type"],
            "risk": risk,
            "happened": failed & (ran <= d) & (ran > 0),
            "judged": reach & ~taken_off & (ran > 0),
            "taken_off": taken_off & reach,
            "readings": counts[state.rows],
            "distance_left_p10_km": band[:, 0],
            "distance_left_p50_km": band[:, 1],
            "distance_left_p90_km": band[:, 2],
            "ran_km": ran,
            "failed_later": failed,
            "chance_by_end": np.clip(seen, 0, 1),
            "calls": (risk >= break_even_risk(d, planned, failure, g)) & (risk > of_new),
            "run_km": np.clip(ran, 0.0, d),
            "planned": planned,
            "failure": failure,
            "cost_per_km": g,
        }
    )
    return pd.concat([made, rule_scores(past, state.rows, d)], axis=1)
