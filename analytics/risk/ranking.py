"""Pumps in service by risk of failing on the road, each with distance left, reason and next step."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import pandas as pd

from analytics.judging.action import next_captures
from analytics.judging.complaints import MENDS
from analytics.judging.finding import BROKE_DOWN, NO_VALUES, decide_findings, last_readings
from analytics.judging.judged import judged_visits
from analytics.judging.made import FIRST, PARTS, has, made_on_the_newest_day
from analytics.learning.fitting import Fit
from analytics.money.cost_book import CostBook, cost_book
from analytics.money.cost_rule import PROVEN_SHARE, with_prices
from analytics.money.long_run import LongRun
from analytics.past.frames import FEW_PUMPS, fetch, fetch_with
from analytics.past.history import History, read_history
from analytics.past.lots import early_failures
from analytics.risk.deciding import decide_pumps
from analytics.risk.forecast import (
    GRID_KM,
    Forecast,
    State,
    fit_for,
    learn_anew,
    score,
    serving_fit,
    survival_of,
    survival_on_grid,
)
from analytics.risk.parts_ahead import with_parts
from analytics.risk.reasons import (
    Grounds,
    beyond,
    horizons,
    points,
    reason_columns,
    with_next_step,
)
from analytics.risk.rests_on import alike, prior_share
from analytics.risk.stepped import said_of_steps
from analytics.trend.drift import Drift, drift_of
from analytics.wear_model.failure_risk import CAUSES
from analytics.wear_model.model import risk_model
from analytics.wear_model.remaining_life import distance_left
from ingest.chains.parts import workers
from ingest.chains.running import Where
from ingest.ledger.connection import open_ledger
from ingest.ledger.settings import settings_at
from ingest.settings_in_force import Settings
from ingest.trade_numbers import USUAL_INTERVAL_KM
from ingest.units import from_kept


def rank(
    ledger: Path,
    *,
    as_of: date | None = None,
    within_km: float | None = None,
    where: Where | None = None,
) -> pd.DataFrame:
    """Return one row per pump in service on `as_of` (default: the last dated fact), riskiest first.

    within_km: horizon on the unit's odometer; default: each unit's own PM interval, else 5,000 mi.
    where: in how many processes, or on which cluster, parts of the pumps are judged and decided about; None:
    here. The figures are the same, on a cluster's other processors but for the last digits.
    Columns: see docs/risk_model.md. Distances `*_km` in km; `distance_left_*` and `horizon` in
    `horizon_unit`. Raises LedgerError when there is no ledger.
    """
    return rank_and_groups(ledger, as_of=as_of, within_km=within_km, where=where)[0]


def rank_and_groups(
    ledger: Path,
    *,
    as_of: date | None = None,
    within_km: float | None = None,
    where: Where | None = None,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return what `rank` does, and the pump types and lots held against the rest (lots.early_failures)."""
    with workers(where, __name__):
        with open_ledger(ledger) as connection:
            facts = read_facts(connection, as_of, where)
        fit = fit_for(ledger, facts.history)
        return _marked(rank_facts(facts, score(facts.history, fit), within_km, where), facts, fit)


@dataclass(frozen=True)
class Decided:
    """A fleet on a day, read, scored and decided about once, for list, plan and distance ahead alike.

    pumps, forecast: of decided_facts. learned: whether its fit was made for it, and none was at hand.
    """

    facts: Facts
    state: State
    pumps: pd.DataFrame
    forecast: Forecast
    learned: bool


def decide_ledger(ledger: Path, as_of: date | None = None) -> Decided:
    """Read, score and decide about a ledger's fleet on a day (default: the last dated fact)."""
    with open_ledger(ledger) as connection:
        facts = read_facts(connection, as_of)
    return decide_facts(ledger, facts)


def decide_facts(ledger: Path, facts: Facts) -> Decided:
    """As `decide_ledger`, from facts read."""
    known = serving_fit(ledger, facts.history)
    state = score(facts.history, known or learn_anew(ledger, facts.history))
    pumps, made = decided_facts(facts, state)
    return Decided(facts, state, pumps, made, known is None)


def ranked(decided: Decided) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return what `rank_and_groups` does of a fleet decided about."""
    return _marked(_riskiest_first(decided.pumps), decided.facts, decided.state.fit)


def _marked(table: pd.DataFrame, facts: Facts, fit: Fit) -> tuple[pd.DataFrame, pd.DataFrame]:
    steps = [said.text for said in said_of_steps(facts.history.common_steps)]
    table.attrs |= {"as_of": facts.history.as_of.isoformat(), "fit_id": fit.fit_id, "steps": steps}
    return table, early_failures(facts.history)


@dataclass(frozen=True)
class Facts:
    """What a list rests on: the past, settings, findings (`findings_of`), decisions, prices and vehicles; and
    today, the day before which nothing is dated."""

    history: History
    settings: Settings
    found: pd.DataFrame
    breakdowns: pd.DataFrame
    decisions: pd.DataFrame
    book: CostBook
    vehicles: pd.DataFrame
    types: pd.DataFrame
    stock: pd.DataFrame
    today: date


def read_facts(
    connection: duckdb.DuckDBPyConnection, as_of: date | None, where: Where | None = None
) -> Facts:
    """Read everything a list on `as_of` rests on (default: the last dated fact, with all decisions and
    prices)."""
    history = read_history(connection, as_of)
    # Prices and decisions may be newer than the last fact about a pump.
    return facts_of(connection, history, as_of or max(history.as_of, date.today()), as_of, where)


def facts_of(
    connection: duckdb.DuckDBPyConnection,
    history: History,
    known_by: date,
    decided_by: date | None,
    where: Where | None = None,
) -> Facts:
    """Return what a list of a history's pumps rests on, with prices up to `known_by`, which is today, and
    decisions up to `decided_by` (None: all; the clock of decisions is UTC, today is the depot's)."""
    day = history.as_of
    settings = settings_at(connection, day)
    units = history.pumps["unit"].unique().tolist() if len(history.pumps) <= FEW_PUMPS else None

    def fetch_of_units(name: str, values: list[Any]) -> pd.DataFrame:
        if units is None:
            return fetch(connection, name, values)
        return fetch_with(connection, name, values, "unit", units)

    services = fetch_of_units("services_until", [day])
    breakdowns = fetch(connection, "pump_breakdowns", [day])
    tell = partial(findings_of, services=services, settings=settings, breakdowns=breakdowns)
    parts = list(judged_visits(connection, history, settings, services, tell=tell, where=where))
    nothing_read = pd.DataFrame(columns=["visited_on", *NEVER_READ], index=pd.Index([], name="pump_id"))
    return Facts(
        history,
        settings,
        pd.concat(parts) if parts else nothing_read,
        breakdowns,
        fetch(connection, "plan_decisions", [decided_by]),
        cost_book(connection, known_by),
        fetch_of_units("plan_vehicles", [day] * 3),
        fetch(connection, "plan_types", []),
        fetch(connection, "plan_stock", []),
        known_by,
    )


def rank_facts(
    facts: Facts, state: State, within_km: float | None = None, where: Where | None = None
) -> pd.DataFrame:
    """As `rank`, from facts read and scored."""
    p, pumps = state.fit.parameters, state.pumps

    def ahead_of_part(part: slice) -> Callable[[], Forecast]:
        # What lies ahead of all pumps at once, on the whole grid, would take more room than all else.
        return partial(survival_of, p, pumps.iloc[part], state.known.take(part), state.d_0[part], GRID_KM)

    return _riskiest_first(_decided(facts, state, within_km, ahead_of_part, where))


def _riskiest_first(table: pd.DataFrame) -> pd.DataFrame:
    failed = (table["status"] == "failed").to_numpy()
    down_days = table["down_since"].to_numpy("datetime64[D]").astype(float)
    down_days[table["down_since"].isna()] = np.inf  # since nobody knows when: after the others
    # A pump that doesn't do its work stands before all risks: these say how soon one that does may stop.
    first = np.select([failed, table["not_working"].to_numpy(bool)], [0, 1], 2)
    order = np.lexsort((-table["risk"].to_numpy(float), np.where(failed, down_days, 0.0), first))
    return table.iloc[order].reset_index(drop=True)


def decided_facts(
    facts: Facts, state: State, within_km: float | None = None
) -> tuple[pd.DataFrame, Forecast]:
    """Return rank's rows in the forecast's order, with prices, finding and decision; and the forecast."""
    made = survival_on_grid(state, GRID_KM)
    return _decided(facts, state, within_km, made.part), made


def _decided(
    facts: Facts,
    state: State,
    within_km: float | None,
    forecast_of: Callable[[slice], Forecast | Callable[[], Forecast]],
    where: Where | None = None,
) -> pd.DataFrame:
    table = rank_state(state, facts.settings, within_km)
    long_run = LongRun.from_plain(state.fit.parameters.summary["long_run"])
    table = with_prices(table, facts.book, long_run, facts.vehicles)
    table = _with_finding(table, facts)
    table = with_parts(table, facts.types, facts.stock)
    table = decide_pumps(
        table, forecast_of, facts.vehicles, facts.settings, facts.history.as_of, facts.decisions, facts.today,
        where=where,
    )  # fmt: skip
    table, runs = with_next_step(table, facts.book.currency), table["status"] != "failed"
    return table.assign(**{name: table[name].where(runs, None) for name in OF_RUNNING_PUMPS})


def _with_finding(table: pd.DataFrame, facts: Facts) -> pd.DataFrame:
    """Return rows with the trade rules' word on the last reading: finding, finding_text, finding_action,
    next_test, missing (steps), status, down_since, not_working, circuit_proven, cause_found,
    next_capture_on, next_capture_km.

    A pump that broke down on the road and was never read has failed as well.
    """
    table = table.copy()
    found = facts.found.reindex(table["pump_id"]).set_axis(table.index)
    for name, value in NEVER_READ.items():
        told = found[name]
        table[name] = told.where(told.notna(), value)
    broke = table["pump_id"].map(facts.breakdowns.set_index("pump_id")["happened_on"].to_dict())
    broke = pd.to_datetime(broke)
    unread = broke.notna() & (table["finding"] == NEVER_READ["finding"])
    table.loc[unread, ["finding", "finding_text", "finding_action", "next_test"]] = BROKE_DOWN
    failed = table.pop("failed").astype(bool) | unread
    table["checked"] = table["checked"].astype(bool)
    table["made"] = table["made"].astype(int)
    for name in ("not_working", "circuit_proven", "cause_found"):
        table[name] = table[name].astype(bool) & ~failed
    # A unit in use for weeks after a reading of too little fuel has shown that it runs on it.
    read = (pd.Timestamp(facts.history.as_of) - pd.to_datetime(found["visited_on"])).dt.days
    runs = table.pop("may_run_short").astype(bool) & (read > facts.settings["no_fuel_days"])
    table["not_working"] &= ~runs
    table["p_beside_pump"] = np.maximum(
        table["p_beside_pump"], np.where(table["cause_found"], PROVEN_SHARE, 0.0)
    )
    table["down_since"] = pd.to_datetime(table["down_since"]).where(~unread, broke)
    return table.assign(
        status=np.where(failed, "failed", "running"),
        step_text=table["next_test"],
        rule=table["finding"],
    )


def findings_of(
    judged: pd.DataFrame, services: pd.DataFrame, settings: Settings, breakdowns: pd.DataFrame
) -> pd.DataFrame:
    """Return what decide_findings and next_captures tell of each pump, `made`, what the newest day looked at
    (judging/made.py), and `checked`; index: pump_id.

    checked: its check is done, by the result written down or since all that it asks for was looked at.
    """
    last = last_readings(judged, services, settings)
    found = decide_findings(judged, services, settings, breakdowns=breakdowns, last=last)
    found = found.join(next_captures(found["finding_action"], last, settings))
    made = made_on_the_newest_day(judged).reindex(found.index, fill_value=0)
    flow = found["finding_action"].isin(["check delivery", "check filter or strainer"]).to_numpy()
    whole = has(made, *FIRST, "pressure", "filter", *PARTS) & (~flow | has(made, "delivery"))
    whole &= ~found["cause_found"].to_numpy(bool)
    return found.assign(made=made, checked=found.index.isin(_checked_last(judged)) | whole)


def _checked_last(judged: pd.DataFrame) -> np.ndarray:
    """Return the pumps whose check, on the day of their newest visit, left no cause beside them, pump_id.

    One that named such a cause asks for its mending, and is no reason to change the pump unlooked at.
    """
    newest = judged.groupby("pump_id")["visited_on"].transform("max")
    told = judged["check_result"].notna() & ~judged["check_result"].isin(MENDS)
    told &= judged["visited_on"] == newest
    return judged["pump_id"][told].unique()


# What the rules say of a pump that has no reading.
NEVER_READ: dict[str, Any] = {
    "finding": "no-capture", "finding_text": "Nothing was captured of this pump yet.",
    "finding_values": NO_VALUES,
    "finding_action": "none", "next_test": "A first capture at the next stop.", "missing": "",
    "failed": False, "down_since": pd.NaT, "not_working": False, "may_run_short": False,
    "circuit_proven": False, "cause_found": False, "made": 0,
    "checked": False, "next_capture_on": None, "next_capture_km": None,
}  # fmt: skip
HEALS_FROM_PCT = 1.0  # of average current, over all its distance: readings that hardly scatter prove less
# What a probability or a distance can't say of a pump that has failed.
OF_RUNNING_PUMPS = (
    "risk", "distance_left_p10", "distance_left_p50", "distance_left_p90", "distance_left_text", "due_by",
    *(f"risk_{cause}" for cause in CAUSES), "p_drag_started", "p_damage", "p_beside_pump", "prior_share",
    "risk_to_next_stop",
)  # fmt: skip


def rank_state(state: State, settings: Settings, within_km: float | None = None) -> pd.DataFrame:
    """As `rank`, from a scoring run; reasons are codes and values only, actions are left "none"."""
    history, rows = state.history, state.rows
    pumps = history.pumps.iloc[rows].reset_index(drop=True)
    unit = str(settings["distance_unit"])
    ahead = _ahead(state, pumps, within_km)
    readings = _readings(state)
    share = prior_share(state, ahead.parts)
    hazard_per_km = -np.log1p(-ahead.risk) / np.maximum(ahead.own_horizon_km, 1.0)
    n_alike, k_failed = alike(state.fit.parameters.summary.get("ratings", {}), hazard_per_km)
    grounds = _grounds(state, pumps, ahead, unit, readings, n_alike, k_failed, share)
    shown = from_kept(ahead.left_km, unit)
    return pd.DataFrame(
        {
            "unit": pumps["unit"],
            "position": pumps["position"],
            "pump_type": pumps["pump_type"],
            "depot": pumps["depot"],
            "class": pumps["class"],
            "pump_id": pumps["pump_id"],
            "risk": ahead.risk,
            "horizon": from_kept(ahead.horizon_km, unit),
            "horizon_unit": unit,
            "distance_left_p10": shown[:, 0],
            "distance_left_p50": shown[:, 1],
            "distance_left_p90": shown[:, 2],
            "distance_left_text": beyond(ahead.left_km[:, 1], ahead.experience_km, unit),
            "due_by": _due(ahead, pumps, history.as_of_day),
            "reason": "",
            "action": "none",
            "action_text": "",
            "next_capture_on": None,
            "next_capture_km": np.nan,
            "visits": np.bincount(history.visits["pump"].to_numpy(int), minlength=len(history.pumps))[rows],
            "readings": readings,
            "last_visited_on": _dates(
                history.visits.groupby("pump")["day"].max().reindex(rows).to_numpy(float)
            ),
        }
        | reason_columns(grounds)
        | {f"risk_{cause}": 100 * part for cause, part in zip(CAUSES, ahead.parts, strict=True)}
        | {
            "p_drag_started": ahead.p_started["drag"],
            "p_damage": ahead.p_damage,
            "p_beside_pump": ahead.p_beside_pump,
            "prior_share": share,
            "n_alike": n_alike,
            "k_failed": k_failed,
            "risk_if_new": ahead.risk_if_new,
            "horizon_km": ahead.horizon_km,
            "distance_on_pump_km": pumps["now_km"],
            "km_per_day": pumps["unit_km_per_day"],
            "pump_km_per_day": pumps["km_per_day"],
        }
    )


@dataclass(frozen=True)
class _Ahead:
    """What lies before each of n pumps, km on the unit's odometer unless said otherwise.

    own_horizon_km: the horizon on the pump's own clock; risk (n,) before it, parts (causes, n) of it in the
    order of CAUSES; risk_if_new: of a new pump in its place; left_km (n, 3): distance left, 10, 50 and 90 %;
    experience_km: how far ahead pumps were ever seen to run; p_started, p_damage, p_beside_pump: of
    RiskModel.
    """

    horizon_km: np.ndarray
    own_horizon_km: np.ndarray
    risk: np.ndarray
    parts: np.ndarray
    risk_if_new: np.ndarray
    left_km: np.ndarray
    experience_km: np.ndarray
    p_started: dict[str, np.ndarray]
    p_damage: np.ndarray
    p_beside_pump: np.ndarray


def _ahead(state: State, pumps: pd.DataFrame, within_km: float | None) -> _Ahead:
    p, n = state.fit.parameters, len(pumps)
    model = risk_model(p)
    # What the odometer shows in a day, and what the pump's own clock runs meanwhile.
    ratio = pumps["km_per_day"].to_numpy(float) / np.maximum(pumps["unit_km_per_day"].to_numpy(float), 1e-9)
    interval = pumps["pm_interval_km"].fillna(USUAL_INTERVAL_KM).to_numpy(float)
    horizon_km = np.full(n, within_km) if within_km else interval
    risk, parts = model.risk(state.known, state.d_0, horizon_km * ratio)
    risk_if_new, _ = model.risk(state.new_pumps, np.zeros(n), horizon_km * ratio)
    longest_km = max(p.longest_km, state.history.pumps["now_km"].max() if n else 0.0)
    own = np.maximum(ratio, 1e-9)
    return _Ahead(
        horizon_km,
        horizon_km * ratio,
        risk,
        parts,
        risk_if_new,
        distance_left(model, state.known, state.d_0) / own[:, None],
        (longest_km - pumps["now_km"].to_numpy(float)) / own,
        model.p_started(state.known),
        model.p_damage(state.known),
        model.p_beside_pump(state.known),
    )


def _grounds(
    state: State,
    pumps: pd.DataFrame,
    ahead: _Ahead,
    unit: str,
    readings: np.ndarray,
    n_alike: np.ndarray,
    k_failed: np.ndarray,
    share: np.ndarray,
) -> Grounds:
    """What the sentence about each pump rests on."""
    p = state.fit.parameters
    code = p.type_codes(state.history.pumps["pump_type"])
    ripple, rpm = (
        drift_of(state.history, code, p.exponents, m, state.fit.drift[m]) for m in ("ripple_pct", "rpm")
    )
    ripple_rises = ((ripple.readings >= 2) & (ripple.slope > 1.3 * ripple.slope_se))[state.rows]
    heals = ripple_heals(ripple, state.history.pumps["now_km"].to_numpy(float))[state.rows]
    speed_falls = ((rpm.readings >= 2) & (rpm.slope < -1.3 * rpm.slope_se))[state.rows]
    # Speed is named where the model weighs it; beside a rising ripple only where it weighs more of the two.
    weight = p.wear.brush_weight
    whole, whole_parts = points(ahead.risk, ahead.parts)
    return Grounds(
        risk_pct=whole,
        parts_pct=dict(zip(CAUSES, whole_parts, strict=True)),
        horizon=horizons(ahead.horizon_km, unit),
        readings=readings,
        speed_falls=speed_falls & (weight > 0) & ((weight > 0.5) | ~ripple_rises),
        ripple_rises=ripple_rises,
        started=ahead.p_started,
        n_alike=n_alike,
        k_failed=k_failed,
        prior_share=share,
        age_known=pumps["age_known"].to_numpy(bool),
        heals=heals,
        restarted=pumps["restarted"].to_numpy(bool),
        fleet_pct=round(100 * float(ahead.risk.mean())) if len(pumps) else 0,
        fleet_failures=state.fit.failures,
    )


def ripple_heals(ripple: Drift, run_km: np.ndarray) -> np.ndarray:
    """Return whether each pump's ripple (n,) falls beyond doubt, and by what matters over the distance that
    the pump has run (n,), km."""
    surely = (ripple.readings >= 3) & (ripple.slope < -2 * ripple.slope_se)
    return np.asarray(surely & (-ripple.slope * run_km >= HEALS_FROM_PCT))


def _due(ahead: _Ahead, pumps: pd.DataFrame, as_of_day: float) -> np.ndarray:
    """The day by which one in ten has failed, by the unit's own use; None beyond what was ever seen."""
    p10_km = ahead.left_km[:, 0]
    per_day = np.maximum(pumps["unit_km_per_day"].to_numpy(float), 1e-6)
    within = p10_km <= np.maximum(ahead.experience_km, 0)
    return _dates(np.where(within, as_of_day + np.minimum(p10_km / per_day, 36500), np.nan))


def _readings(state: State) -> np.ndarray:
    counts = np.zeros(len(state.history.pumps), int)
    counts[state.filtered.tracks.order] = state.filtered.tracks.counts
    return counts[state.rows]


def _dates(days: np.ndarray) -> np.ndarray:
    """Return days since 1970 (n,) as dates, None where unknown."""
    out = np.nan_to_num(days).astype("datetime64[D]").astype(object)
    out[np.isnan(days)] = None
    return out
