"""Survival of every pump in service over distance from the as-of date, for cost, plan and pages."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from analytics.learning.fitting import Fit, fit_history, store_fit, stored_fit, watched_km
from analytics.past.history import History, load_history
from analytics.past.normalise import channels, last_circumstances, last_covariates
from analytics.wear_model.damages import Damages, take_in
from analytics.wear_model.exposure import exposure
from analytics.wear_model.failure_risk import Known
from analytics.wear_model.model import Filtered, Parameters, risk_model, run_filters
from analytics.wear_model.onsets import shown, take_in_onsets
from analytics.wear_model.unrecorded import allow_for_unrecorded
from analytics.wear_model.wear import indicator, indicator_opened
from ingest.errors import LedgerError

# By which share, by how many besides, and in what time a past must grow to be learned anew.
MUCH_MORE, FEW_VISITS, FEW_FAILURES, OLD_DAYS = 0.1, 5, 1, 180
MUCH_WATCHED, LITTLE_KM = 0.5, 100_000.0  # by which share, and how much, a past may differ from the fit's
# Fine near the as-of date, where stops lie; the far end is where hardly any pump still runs.
GRID_KM = np.concatenate([[0.0], np.geomspace(100.0, 600_000.0, 90)])


@dataclass(frozen=True)
class Forecast:
    """Pumps in service on the as-of date, in order of pump_id; distances on the pump's own clock, in km.

    pump_id (n,); grid_km (m,) from the as-of date; survival (n, m): P(still running after grid_km given it
    runs on the as-of date); km_per_day (n,); new_pump_survival (n, m): the same for a new pump of its type;
    by_age_survival (n, m): for one that has run as far as it and was never read.
    """

    pump_id: np.ndarray
    grid_km: np.ndarray
    survival: np.ndarray
    km_per_day: np.ndarray
    new_pump_survival: np.ndarray
    by_age_survival: np.ndarray

    def part(self, rows: slice) -> Forecast:
        """Return `rows`."""
        return Forecast(
            self.pump_id[rows], self.grid_km, self.survival[rows], self.km_per_day[rows],
            self.new_pump_survival[rows], self.by_age_survival[rows],
        )  # fmt: skip


@dataclass(frozen=True)
class State:
    """One scoring run: the history, the fit used, both filters' states, and the rows in service."""

    history: History
    fit: Fit
    filtered: Filtered
    rows: np.ndarray
    known: Known
    d_0: np.ndarray

    def part(self, rows: slice) -> State:
        """Return `rows` of the pumps in service."""
        return replace(self, rows=self.rows[rows], known=self.known.take(rows), d_0=self.d_0[rows])

    @property
    def pumps(self) -> pd.DataFrame:
        """History.pumps of those in service."""
        return self.history.pumps.iloc[self.rows]

    @property
    def new_pumps(self) -> Known:
        """New pumps of the same types."""
        return new_pumps(self.fit.parameters, self.pumps, self.known.type_code)


def new_pumps(p: Parameters, pumps: pd.DataFrame, code: np.ndarray) -> Known:
    """Return what is known of new pumps in the places of `pumps` (n rows), of types `code` (n,)."""
    return Known.of_new(p.wear, p.drag, p.onsets, code, exposure(p.groups, pumps, new=True))


def forecast(ledger: Path, *, as_of: date | None = None, grid_km: np.ndarray) -> Forecast:
    """Forecast every pump in service on `as_of` (default: the last dated fact) over `grid_km` (m,), km."""
    return survival_on_grid(state_on(ledger, as_of), np.asarray(grid_km, float))


def survival_on_grid(state: State, grid_km: np.ndarray) -> Forecast:
    """As `forecast`, from a scoring run."""
    return survival_of(state.fit.parameters, state.pumps, state.known, state.d_0, grid_km)


def survival_of(
    p: Parameters, pumps: pd.DataFrame, known: Known, d_0: np.ndarray, grid_km: np.ndarray
) -> Forecast:
    """As `forecast`, of these pumps (rows of History.pumps), known since `d_0` (n,) km ago."""
    model, new = risk_model(p), new_pumps(p, pumps, known.type_code)
    kind = np.column_stack([new.type_code, new.exposure])
    _, first, alike = np.unique(kind, axis=0, return_index=True, return_inverse=True)
    of_kind = model.survival(new.take(first), np.zeros(len(first)), grid_km)
    return Forecast(
        pumps["pump_id"].to_numpy(),
        grid_km,
        model.survival(known, d_0, grid_km),
        pumps["km_per_day"].to_numpy(float),
        of_kind[alike.ravel()],
        model.survival(new, pumps["now_km"].to_numpy(float), grid_km),
    )


def state_on(ledger: Path, as_of: date | None = None) -> State:
    """Score a ledger on a day (default: the last dated fact) with `fit_for` that day."""
    history = load_history(ledger, as_of)
    return score(history, fit_for(ledger, history))


def fit_for(ledger: Path, history: History) -> Fit:
    """Return the newest stored fit whose data end by the history's day; make and store one when none or due.

    Due: `due`; or another past, as where somebody told since when failures are on record (its pumps were
    watched for much more or less).
    """
    return serving_fit(ledger, history) or learn_anew(ledger, history)


def serving_fit(ledger: Path, history: History) -> Fit | None:
    """Return the stored fit that `fit_for` returns; None where it makes one."""
    known = stored_fit(ledger, history.as_of, history.settings)
    return known if known and not due(known, history) and _same_past(known, history) else None


def learn_anew(ledger: Path, history: History) -> Fit:
    """Make a fit of a history and store it, unless another program has the ledger."""
    made = fit_history(history)
    try:
        return store_fit(ledger, made)
    except LedgerError:  # in use by another program: the fit serves this once
        return made


def due(known: Fit, history: History) -> bool:
    """Return whether a history holds much more than a fit saw, visits or failures up by a tenth and a few, or
    is much younger.

    The few are as few as a small fleet can do with: learning ten vans takes as long as reading their past.
    """
    failures = int(history.pumps["failed"].sum())
    return (
        len(history.visits) > (1 + MUCH_MORE) * known.visits + FEW_VISITS
        or failures > (1 + MUCH_MORE) * known.failures + FEW_FAILURES
        or (history.as_of - known.data_until).days > OLD_DAYS
    )


def _same_past(known: Fit, history: History) -> bool:
    then, now = known.parameters.summary.get("watched_km"), watched_km(history.pumps)
    return then is not None and abs(now - then) <= MUCH_WATCHED * then + LITTLE_KM


def known_after(state: State, visits: pd.DataFrame) -> Known:
    """Return what is known of pumps after one more visit each, without going through their past again.

    visits: as History.visits, one row a pump, `pump` being its row in state.history.pumps, x_km beyond its
    last reading. Rows of the result follow `visits`.
    """
    p, track = state.fit.parameters, state.filtered
    pump, x = visits["pump"].to_numpy(int), visits["x_km"].to_numpy(float)
    before = track.known.take(pump)
    pumps = state.history.pumps
    so_far = state.history.visits
    last = last_circumstances(so_far, pumps), last_covariates(so_far, pumps)
    made = channels(visits, pumps, p.exponents, *last)
    u = indicator(made.ripple, made.brush, before.type_code, p.wear)
    load = made.load - p.drag.filter_per_km * visits["filter_km"].to_numpy(float)
    told, _ = take_in(
        p.wear, p.drag, Damages(before.wear, before.drag), before.x_km, x, before.type_code, u, load,
        made.load_noise, p.drag_life_km, made.beside_load, made.flow,
        indicator_opened(made.beside_ripple.opened, made.beside_brush.opened, p.wear),
    )  # fmt: skip
    read = shown(made)
    begun, _ = take_in_onsets(p.onsets, before.begun, before.x_km, x, before.type_code, read)
    return Known(x, before.type_code, *told, begun, before.exposure)


def score(history: History, fit: Fit) -> State:
    """Run the filters and pick the pumps in service."""
    history = allow_for_unrecorded(history, fit.parameters.exponents)
    filtered = run_filters(history, fit.parameters)
    pumps = history.pumps
    retired = pumps["retires_day"].notna() & (pumps["retires_day"] < history.as_of_day)
    rows = np.flatnonzero(~pumps["removed"].to_numpy(bool) & ~retired.to_numpy(bool))
    known = filtered.known.take(rows)
    d_0 = np.maximum(pumps["now_km"].to_numpy(float)[rows] - known.x_km, 0.0)
    return State(history, fit, filtered, rows, known, d_0)
