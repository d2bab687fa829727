"""What replacing by rule saves on new pumps of a simulated fleet, followed from fitting to failure.

Each life is a unit of its own. At every PM stop the records up to then (with their dirt, cleaned as on
loading) go through the filters, and the rule decides. Costs are per km over all lives; a share of saving is
    (cost of run-to-failure - cost of the rule) / (cost of run-to-failure - cost of another),
the other being one of
    all-knowing     changes every pump at its last stop before it fails, sudden failures included
    damage-knowing  the same where wear or drag ends a life, as everything a reading could ever show is known
                    to it; sudden failures happen
    perfect sensor  sees both damages and their rates, not the failure levels, and follows the cost rule
and beside them
    informed        the product's filters on the same readings, told the fleet's constants
                    (informed_filters.py)
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analytics.judging.action import decide_actions
from analytics.judging.judge import judge
from analytics.learning.fitting import Fit
from analytics.money.interval_rule import break_even_risk
from analytics.money.long_run import LongRun
from analytics.past.history import History
from analytics.wear_model.failure_risk import Known, RiskModel
from analytics.wear_model.model import Filtered, Parameters, risk_model, run_filters
from analytics.wear_model.unrecorded import allow_for_unrecorded
from demo_fleet import fleet as simulator
from demo_fleet.dirt import Dirt, add_dirt
from tests.benchmarks.informed_filters import informed
from tests.benchmarks.perfect_sensor import drag_delays, perfect_risk
from tests.fleet_frames import history_from_tables

C_PLANNED, C_FAILURE = 650.0, 2400.0
STOP_KM = 8000.0
LOST_CHANGE = 0.05  # share of lives that begin with a change nobody wrote down, where there is dirt
IN_SERVICE = np.datetime64("2015-01-01")
FAR_DAY = "2049-12-31"


@dataclass(frozen=True)
class Stops:
    """Every PM stop of every life: (m,) arrays in order of life and distance; `record` is its visits row."""

    row: np.ndarray
    order: np.ndarray
    x_km: np.ndarray
    record: pd.DataFrame


def fresh_stops(
    p: simulator.FleetParameters, n: int, seed: int, interval_km: float = STOP_KM
) -> tuple[simulator.Lives, Stops]:
    """Draw `n` lives and what is read at each stop before they fail."""
    rng = np.random.default_rng(seed)
    lives = simulator.draw_lives(p, rng.choice(len(simulator.TYPES), n, p=[0.4, 0.3, 0.2, 0.1]), rng)
    size = (n, int(90 * STOP_KM / interval_km))
    gap = interval_km * np.exp(rng.normal(0, 0.2, size)) * np.where(rng.random(size) < 0.06, 2, 1)
    x = np.cumsum(gap, 1) * rng.uniform(0.8, 1.2, n)[:, None]
    row, order = np.nonzero(x < np.minimum(lives.fails_at_km, 600e3)[:, None])
    at = x[row, order]
    km_per_day = 70 * np.exp(rng.normal(0, 0.3, n))
    day = np.round(at / km_per_day[row] * np.exp(rng.normal(0, 0.01, len(at)))).astype(int)
    day = pd.Series(day).groupby(row).cummax().to_numpy() + order  # later stops are later days
    read = simulator.take_readings(p, lives, row, at, since_filter(row, order, at), day % 365.0, rng)
    record = read.drop(columns=["true_wear", "true_drag"]).assign(
        unit=[f"L{i:05d}" for i in row], position="main", serial=[f"F{i:05d}" for i in row], reason="pm",
        state="idle", visited_on=IN_SERVICE + day.astype("timedelta64[D]"), odometer=np.round(at),
    )  # fmt: skip
    return lives, Stops(row, order, at, record)


def filter_changed(order: np.ndarray, x_km: np.ndarray) -> np.ndarray:
    """Whether the filter is changed at each stop, after the reading: the first stop past every 50,000 km."""
    due = np.floor(x_km / 50e3)
    return due > np.where(order == 0, 0, np.r_[0, due[:-1]])


def since_filter(row: np.ndarray, order: np.ndarray, x_km: np.ndarray) -> np.ndarray:
    """Distance on the filter when each stop's reading is taken."""
    changed_at = np.where(filter_changed(order, x_km), x_km, 0.0)
    so_far = pd.Series(changed_at).groupby(row).cummax().to_numpy()
    return x_km - np.where(order == 0, 0.0, np.r_[0, so_far[:-1]])


def tables_of(p: simulator.FleetParameters, lives: simulator.Lives, stops: Stops) -> dict[str, pd.DataFrame]:
    """Return the lives as a fleet folder's tables; every life goes on."""
    unit = stops.record["unit"].drop_duplicates().to_numpy()
    life = stops.row[np.unique(stops.row, return_index=True)[1]]
    services = stops.record[filter_changed(stops.order, stops.x_km)]
    n = len(unit)
    return {
        "vehicles": pd.DataFrame(
            {"unit": unit, "class": "van", "depot": "North", "in_service_on": IN_SERVICE,
             "records_from": IN_SERVICE, "pm_interval": STOP_KM, "pm_interval_days": 182}
        ),
        "pump_types": simulator.pump_types(p),
        "pumps": pd.DataFrame(
            {"unit": unit, "position": "main", "pump_type": np.array(simulator.TYPES)[lives.type_code[life]],
             "serial": [f"F{i:05d}" for i in life], "fitted_on": pd.Series([IN_SERVICE] * n),
             "fitted_odometer": np.zeros(n), "removed_on": pd.Series([pd.NaT] * n, dtype="datetime64[s]"),
             "removed_odometer": np.full(n, np.nan), "removal": "", "found": ""}
        ),
        "visits": stops.record,
        "services": pd.DataFrame(
            {"unit": services["unit"], "done_on": services["visited_on"], "odometer": services["odometer"],
             "work": "filter"}
        ),
    }  # fmt: skip


def risks_at_stops(
    p: simulator.FleetParameters, lives: simulator.Lives, stops: Stops, fit: Fit, dirt: Dirt, seed: int
) -> tuple[np.ndarray, np.ndarray]:
    """Return the risk over the next stop, and a new pump's, as told at each stop from the records until then.

    With dirt some lives begin with a change that nobody wrote down: the records run on from an older pump,
    and every stop's records are cleaned and looked through anew. Clean ones go through the filters once: they
    are left alone by that (tests/wear_model/test_unrecorded.py), and the filters never look ahead.
    """
    rng = np.random.default_rng(seed)
    tables = tables_of(p, lives, stops)
    if dirt == Dirt.none():
        return _risks_in_one_pass(history_from_tables(tables, 1.0, FAR_DAY), stops, fit.parameters)
    if dirt != Dirt.none():
        tables = _older_pumps(tables, stops, rng)
    tables = add_dirt(tables, replace(dirt, lost_pump=0.0), rng)
    visits = tables["visits"].reset_index(drop=True)
    stop_of = pd.Series(np.arange(len(stops.row)), index=pd.MultiIndex.from_arrays([stops.row, stops.order]))
    own = visits["unit"].str[1:].astype(int).to_numpy()
    number = visits.get("order", pd.Series(stops.order)).to_numpy()
    risk, new = np.zeros(len(stops.row)), np.zeros(len(stops.row))
    for k in range(stops.order.max() + 1):
        here = number == k
        alive = np.isin(own, own[here])
        part = visits[alive & (number <= k)]
        day = part.groupby("unit")["visited_on"].max()
        services = tables["services"]
        services = services[services["done_on"] < services["unit"].map(day)]
        pumps = tables["pumps"][tables["pumps"]["unit"].isin(day.index)]
        now = tables | {"visits": part, "services": services, "pumps": pumps}
        history = history_from_tables(now, 1.0, FAR_DAY, clean_odometers=dirt != Dirt.none())
        told, told_new = _risk_now(history, fit)
        life = history.pumps["unit"].str[1:].astype(int).to_numpy()
        at = stop_of.reindex(pd.MultiIndex.from_arrays([life, np.full(len(life), k)])).to_numpy(int)
        risk[at], new[at] = told, told_new
    return risk, new


def _risks_in_one_pass(history: History, stops: Stops, p: Parameters) -> tuple[np.ndarray, np.ndarray]:
    model, filtered = risk_model(p), run_filters(history, p, keep=True)
    risk, new = np.zeros(len(stops.row)), np.zeros(len(stops.row))
    for at, _, known in known_at_stops(history, filtered, stops):
        risk[at], new[at] = _told(model, known, p)
    return risk, new


def known_at_stops(
    history: History, filtered: Filtered, stops: Stops
) -> Iterator[tuple[np.ndarray, np.ndarray, Known]]:
    """Yield the stops (m,) that come k-th in their lives, for every k, their rows of `visits` and what the
    filters know there."""
    life = history.pumps["unit"].str[1:].astype(int).to_numpy()
    stop_of = pd.Series(np.arange(len(stops.row)), index=pd.MultiIndex.from_arrays([stops.row, stops.order]))
    x = history.visits["x_km"].to_numpy(float)
    for k, rows in enumerate(filtered.tracks.index):
        who = filtered.tracks.order[: len(rows)]
        at = stop_of.reindex(pd.MultiIndex.from_arrays([life[who], np.full(len(who), k)])).to_numpy(int)
        states = (*filtered.told.per_visit[k], filtered.begun.per_visit[k], filtered.exposure[who])
        yield at, rows, Known(x[rows], filtered.type_code[who], *states)


def _told(model: RiskModel, known: Known, p: Parameters) -> tuple[np.ndarray, np.ndarray]:
    """Risk up to the next stop, at a distance that nobody knows, and the same of a new pump."""
    code, n = known.type_code, len(known.type_code)
    d = np.full(n, STOP_KM)
    new = Known.of_new(p.wear, p.drag, p.onsets, code)
    return model.risk(known, np.zeros(n), d)[0], model.risk(new, np.zeros(n), d)[0]


def _risk_now(history: History, fit: Fit) -> tuple[np.ndarray, np.ndarray]:
    p = fit.parameters
    return _told(risk_model(p), run_filters(allow_for_unrecorded(history, p.exponents), p).known, p)


def _older_pumps(
    tables: dict[str, pd.DataFrame], stops: Stops, rng: np.random.Generator
) -> dict[str, pd.DataFrame]:
    """Put an older pump's stops before some lives, on the same record; theirs have orders below 0."""
    visits = tables["visits"].assign(order=stops.order)
    sizes = np.bincount(stops.row)
    units = np.flatnonzero(sizes > 4)
    parts, services = [], tables["services"].copy()
    for life in units[rng.random(len(units)) < LOST_CHANGE]:
        before = stops.record[stops.row == rng.choice(units)]
        days = before["visited_on"].max() - pd.Timestamp(IN_SERVICE)
        older = before.assign(unit=f"L{life:05d}", serial=f"F{life:05d}", order=np.arange(-len(before), 0))
        mine, done = visits["unit"] == f"L{life:05d}", services["unit"] == f"L{life:05d}"
        visits.loc[mine, "visited_on"] += days
        visits.loc[mine, "odometer"] += before["odometer"].max()
        services.loc[done, "done_on"] += days
        services.loc[done, "odometer"] += before["odometer"].max()
        parts.append(older)
    visits = pd.concat([visits, *parts]).sort_values(["unit", "order"], ignore_index=True)
    return tables | {"visits": visits, "services": services}


def booked_at(
    p: simulator.FleetParameters, lives: simulator.Lives, stops: Stops, worth: np.ndarray, seed: int
) -> tuple[np.ndarray, np.ndarray]:
    """Return life and distance (k,) of the stops at which the trade rules let a replacement be booked.

    Only where cost calls for one (`worth`), or at the half-way stop that follows, as the shop captures at
    half the usual interval where the risk is high. It does what the rules ask for: zero checked, supply and
    both drops passed, fuel in the tank, delivery measured; the filter changed and the pump captured again at
    once.
    """
    rng = np.random.default_rng(seed)
    following = np.where(last_stop(stops.row), stops.x_km + STOP_KM, np.r_[stops.x_km[1:], 0.0])
    half_way = (stops.x_km + following) / 2
    extra = np.flatnonzero(worth & (half_way < lives.fails_at_km[stops.row]))
    row, x = np.r_[stops.row, stops.row[extra]], np.r_[stops.x_km, half_way[extra]]
    number = np.r_[2 * stops.order, 2 * stops.order[extra] + 1]  # odd: half-way
    called = np.r_[worth, np.ones(len(extra), bool)]
    visited_on = stops.record["visited_on"].to_numpy()
    visited_on = np.r_[visited_on, visited_on[extra] + np.timedelta64(60, "D")]
    day = (visited_on - IN_SERVICE).astype("timedelta64[D]").astype(float) % 365.0
    on_filter = since_filter(stops.row, stops.order, stops.x_km)[extra] + half_way[extra] - stops.x_km[extra]
    between = simulator.take_readings(
        p, lives, stops.row[extra], half_way[extra], on_filter, day[-len(extra) :], rng
    )
    first = pd.concat([stops.record, between], ignore_index=True)
    again = simulator.take_readings(p, lives, row, x, np.zeros(len(row)), day, rng)
    types = (
        simulator.pump_types(p).drop(columns="pump_type").iloc[lives.type_code[row]].reset_index(drop=True)
    )
    both = []
    for turn, read in enumerate((first, again)):
        seen = read[["mean_a", "ripple_pct", "rpm", "supply_v", "fuel_pressure_kpa", "fuel_temp_c"]]
        both.append(
            pd.concat([seen, types], axis=1).assign(
                visit_id=2 * number + turn, pump_id=row, unit=row, visited_on=visited_on,
                distance_on_pump_km=x, filter_changed_on=visited_on, pm_interval_days=182,
                reason="pm", state="idle", in_trend=turn == 0, origin="capture", motor="brushed",
                supply="direct", zero_a=0.0, drop_supply_v=0.1, drop_ground_v=0.05, delivery_l_min=2.0,
                fuel_level_pct=60.0, system_v=12.0, spec_at_v=simulator.REFERENCE_V, duty_pct=np.nan,
                turn=turn, number=number, at=np.arange(len(row)), position="main", raw_ripple_pct=np.nan,
            )
        )  # fmt: skip
    judged = judge(pd.concat(both, ignore_index=True))
    may = np.zeros(len(row), bool)
    for k in np.unique(number[called]):
        mine = judged["pump_id"].isin(row[called & (number == k)]) & (judged["number"] <= k)
        action = decide_actions(judged[mine])["action"]
        last = judged[mine & (judged["number"] == k) & (judged["turn"] == 1)].set_index("pump_id")["at"]
        may[last.to_numpy(int)] = (action.reindex(last.index) == "book replacement").to_numpy()
    may &= called
    return row[may], x[may]


def policies(
    p: simulator.FleetParameters, fit: Fit, lives_drawn: int, seed: int, dirt: Dirt
) -> dict[str, float]:
    """Return cost per km of running to failure, the all-knowing, the perfect sensor, the model and plain
    rules."""
    lives, stops = fresh_stops(p, lives_drawn, seed)
    fails, x, row = lives.fails_at_km, stops.x_km, stops.row
    d = np.full(len(row), STOP_KM)

    def cost(change: np.ndarray) -> float:
        return cost_per_km(change, row, x, fails)

    risk, new = risks_at_stops(p, lives, stops, fit, dirt, seed + 1)
    g = _long_run(fit)[lives.type_code[row]]
    ours = (risk >= break_even_risk(d, C_PLANNED, C_FAILURE, g)) & (risk > new)
    booked = booked_at(p, lives, stops, ours, seed + 2)
    seen, _ = perfect_at_stops(p, lives, stops, seed)
    ripple = stops.record["ripple_pct"].to_numpy()
    told = informed(fit.parameters, p)
    if told is None:
        best_told = np.nan
    else:
        records = history_from_tables(tables_of(p, lives, stops), 1.0, FAR_DAY)
        best_told = settled_cost(_risks_in_one_pass(records, stops, told)[0], cost)
    return {
        "to_failure": cost(np.zeros(len(row), bool)),
        "oracle": cost(last_stop(row)),
        "damage": cost(last_stop(row) & (lives.mode != "sudden")[row]),
        "perfect": settled_cost(seen, cost),
        "informed": best_told,
        "ours": cost(ours),
        "booked": cost_per_km(np.ones(len(booked[0]), bool), *booked, fails),
        "ripple_rule": cost(ripple > 15),
        "age_rule": min(cost(x > a) for a in np.arange(40e3, 300e3, 10e3)),
        "sudden_share": float((lives.mode == "sudden").mean()),
    }


def perfect_at_stops(
    p: simulator.FleetParameters, lives: simulator.Lives, stops: Stops, seed: int, d_km: float = STOP_KM
) -> tuple[np.ndarray, pd.DataFrame]:
    """Return the perfect sensor's risk up to the next stop at each stop, and the truth it is made from."""
    row, x = stops.row, stops.x_km
    wear, _ = simulator.damage_at(lives, row, x)
    later, _ = simulator.damage_at(lives, row, x + 500.0)
    true = pd.DataFrame(
        {"type_code": lives.type_code[row], "true_drag_start_km": lives.drag_start_km[row],
         "true_drag_rate": lives.drag_rate[row]}
    )  # fmt: skip
    d = np.full(len(row), d_km)
    return perfect_risk(p, true, x, d, wear, (later - wear) / 500.0, drag_delays(p, seed)), true


def settled_cost(risk: np.ndarray, cost, d_km: float = STOP_KM) -> float:
    """Return the cost of the cost rule whose g is the cost it brings about itself."""
    g, best = cost(np.zeros(len(risk), bool)), np.inf
    for _ in range(12):
        found = cost((C_FAILURE - C_PLANNED) * risk >= g * d_km * (1 - risk / 2))
        best, g = min(best, found), found
    return best


def last_stop(row: np.ndarray) -> np.ndarray:
    """True at each life's last stop before it fails: where the all-knowing changes it."""
    return np.r_[row[1:] != row[:-1], True]


def cost_per_km(change: np.ndarray, row: np.ndarray, x: np.ndarray, fails: np.ndarray) -> float:
    """Cost per km over all lives when each pump is changed at its first stop flagged in `change`."""
    end, cost = fails.copy(), np.full(len(fails), C_FAILURE)
    first = pd.Series(x[change]).groupby(row[change]).min()
    end[first.index], cost[first.index] = first.to_numpy(), C_PLANNED
    return float(cost.sum() / end.sum())


def _long_run(fit: Fit) -> np.ndarray:
    """Cost per km of each of the simulator's types, as rank and plan take it."""
    k = len(simulator.TYPES)
    long_run = LongRun.from_plain(fit.parameters.summary["long_run"])
    return long_run.cost_per_km(pd.Series(simulator.TYPES), np.full(k, C_PLANNED), np.full(k, C_FAILURE))
