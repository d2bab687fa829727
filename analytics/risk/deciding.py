"""What is decided about every ranked pump: stops ahead, prices and checks weighed, the action in words."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import NamedTuple

import numpy as np
import pandas as pd

from analytics.judging.made import FIRST, has
from analytics.money.cost_rule import Curves, weigh, with_decision
from analytics.money.decision import (
    CHANGE,
    CHECK,
    CHECK_AND_CHANGE,
    JOBS,
    NO_FUEL,
    NOW,
    ON_CEILING,
    TIMES,
    curve_at,
    on_the_day,
)
from analytics.money.decision import METHOD_VERSION as DECISIONS
from analytics.money.outlook import Ahead
from analytics.past.frames import parts
from analytics.risk.forecast import Forecast
from analytics.risk.parts_ahead import STANDING, part_waits
from analytics.risk.visits_ahead import interval_days, planned_visits
from analytics.risk.workdays import Workdays, stale
from analytics.wear_model.model import METHOD_VERSION as FORECASTS
from analytics.wording import Remark, booked, remark
from ingest.chains.parts import in_parts
from ingest.chains.running import Where
from ingest.settings_in_force import Settings

BOOK, CHECK_AND_CHANGE_ACTION, WATCH = "book replacement", "check and change", "shorten interval"
CAPTURE_FIRST = "capture first"  # job and action: a change that waits for a reading of today
CHANGES = (JOBS[CHANGE], JOBS[CHECK_AND_CHANGE])
ACTIONS = {
    JOBS[CHANGE]: BOOK,
    JOBS[CHECK_AND_CHANGE]: CHECK_AND_CHANGE_ACTION,
    CAPTURE_FIRST: CAPTURE_FIRST,
}
CHECKS = ("check circuit", "check filter or strainer", "check delivery")
NO_DELIVERY_RULE = "does-not-deliver"
REJECTED = "rejected"  # by a person: it has no day
NO_LOOK, DROPS, LOOK = "nothing", "zero and drops", "check"  # what a job asks for first
NEVER_SEEN = -1
YEAR_DAYS = 365.0
NEXT_TEST = "next-test"  # the action is the step that the finding gives, worded by rule and step


def decide_pumps(
    pumps: pd.DataFrame,
    forecast_of: Callable[[slice], Forecast | Callable[[], Forecast]],
    vehicles: pd.DataFrame,
    settings: Settings,
    as_of: date,
    decisions: pd.DataFrame,
    today: date | None = None,
    *,
    where: Where | None = None,
) -> pd.DataFrame:
    """Return `pumps` with next_stop_on, risk_in_a_year (left in), what was decided (cost_rule.with_decision),
    action, action_text, job, asked_first (`named`), planned_on, decision_status and decided_by.

    pumps: rows of cost_rule.with_prices with the columns rank gives, finding_action, status, not_working,
    circuit_proven, cause_found, checked (bool, its check is done and on record with the newest reading), made
    (judging/made.py), and those of parts_ahead.with_parts.
    forecast_of: gives that of a part of the rows, in their order, or what makes it when called. decisions:
    newest of a person, by pump. today: nothing is dated before it (as_of). where: None decides in this
    process, else `ingest.chains.parts` does.
    """
    today = today or as_of
    pumps = with_next_stop(pumps, vehicles, settings, today)
    finished = (pumps["finding_action"] == BOOK).to_numpy()
    pumps = pumps.assign(
        finished=finished,
        failed=(pumps["status"] == "failed").to_numpy(),
        starves=finished & (pumps["finding"] == NO_DELIVERY_RULE).to_numpy(),
        idle=pumps["not_working"].to_numpy(bool) & ~finished,
    )
    asked = ((pumps.iloc[part], forecast_of(part), settings, as_of, today) for part in parts(len(pumps)))
    pumps = pd.concat(list(in_parts(_decide_part, asked, where, methods)))
    pumps = pumps.assign(proposed_on=_first_days(pumps, settings, today, decisions))
    pumps = pumps.assign(unseen_days=_unseen_days(pumps, as_of, today))
    weighed = ["lead_days", "on_hand", "idle", "circuit_proven"]
    return with_words(pumps.drop(columns=weighed), decisions).drop(columns="unseen_days")


def methods() -> tuple[int, int]:
    """Return what tells whether another machine decides as this one."""
    return FORECASTS, DECISIONS


def _decide_part(
    pumps: pd.DataFrame,
    forecast: Forecast | Callable[[], Forecast],
    settings: Settings,
    as_of: date,
    today: date,
) -> pd.DataFrame:
    """Weigh and decide about a part of the pumps."""
    told = forecast if isinstance(forecast, Forecast) else forecast()
    curves = Curves(told.grid_km, told.survival, told.by_age_survival, told.new_pump_survival)
    a_year = YEAR_DAYS * pumps["pump_km_per_day"].to_numpy(float)
    pumps = pumps.assign(risk_in_a_year=1 - curve_at(told.survival, told.grid_km, a_year))
    return with_decision(pumps, weigh(pumps, curves, ahead_of(pumps, settings, as_of, today), settings))


def stands_still(pumps: pd.DataFrame) -> np.ndarray:
    """Return whether each decided pump's vehicle stands: it failed, or the engine may get no fuel, (n,)."""
    return ((pumps["status"] == "failed") | (pumps["because"] == NO_FUEL)).to_numpy()


def _unseen_days(pumps: pd.DataFrame, as_of: date, today: date) -> np.ndarray:
    """Return the days since each pump was last seen where records are stale and end more than its interval
    ago, so that a planned stop is missing; NEVER_SEEN for a pump without any visit, 0 elsewhere, (n,)."""
    last = pd.to_datetime(pumps["last_visited_on"])
    never = np.where(last.isna(), NEVER_SEEN, 0)
    if not stale(as_of, today):
        return never
    gone = (pd.Timestamp(today) - last).dt.days.fillna(0).to_numpy(int)
    return np.where(gone > pumps["pm_days"].to_numpy(float), gone, never)


def _first_days(pumps: pd.DataFrame, settings: Settings, today: date, decisions: pd.DataFrame) -> pd.Series:
    """Return the first day on which each pump's job can be done, None where nothing is to be done or its unit
    is gone by then.

    A job at the next stop has its day; one now or at a stop of its own, the first open day from then on; none
    is before its part.
    """
    stands = stands_still(pumps)
    own = pumps["at"].isin(["now", "extra stop"]).to_numpy() | stands

    def days_to(days: pd.Series) -> np.ndarray:
        return (pd.to_datetime(days) - pd.Timestamp(today)).dt.days.to_numpy(float)

    ahead = np.where((pumps["at"] == "now").to_numpy() | stands, 0, int(settings["extra_stop_days"]))
    ahead = np.where(own, ahead, days_to(pumps["next_stop_on"]))
    newest = decisions[decisions["status"].isin(STANDING)].set_index("pump_id")["planned_on"]
    booked = days_to(newest.reindex(pumps["pump_id"]))
    changes = (pumps["status"] == "failed").to_numpy() | pumps["option"].isin(CHANGES).to_numpy()
    wait = part_waits(pumps, ahead, booked, changes)
    acts = stands | (pumps["at"] != "").to_numpy()
    first = pumps["next_stop_on"].where(acts, None).astype(object)
    moved = acts & (own | (wait > ahead))
    day = np.datetime64(today, "D") + np.maximum(ahead, wait)[moved].astype("timedelta64[D]")
    depots = pumps["depot"].fillna("").to_numpy(object)[moved]
    first[moved] = Workdays(settings).forward(day, depots).astype(object)
    gone = pd.to_datetime(first) >= pd.to_datetime(pumps["retires_on"])
    return first.mask(gone, None)


def with_next_stop(
    pumps: pd.DataFrame, vehicles: pd.DataFrame, settings: Settings, today: date
) -> pd.DataFrame:
    """Return `pumps` with next_stop_on and pm_days, the days between its unit's planned stops."""
    per_day = pumps.groupby("unit")["km_per_day"].max()
    mine = vehicles[per_day.index.get_indexer(pd.Index(vehicles["unit"])) >= 0]
    mine = mine.assign(km_per_day=mine["unit"].map(per_day))
    stops = planned_visits(mine, today, 0, settings).drop_duplicates("unit").set_index("unit")["planned_on"]
    between, _ = interval_days(mine, settings)
    apart = pd.Series(between, index=mine["unit"].to_numpy())
    unit = pumps["unit"]
    return pumps.assign(
        next_stop_on=pd.to_datetime(unit.map(stops)).dt.date,
        pm_days=unit.map(apart).fillna(float(settings["next_capture_days"])).to_numpy(float),
    )


def ahead_of(pumps: pd.DataFrame, settings: Settings, as_of: date, today: date) -> Ahead:
    """Return where each pump's stops lie from the as-of date; pumps: next_stop_on, pm_days, retires_on,
    last_visited_on."""
    start = pd.Timestamp(as_of)
    per_day = pumps["pump_km_per_day"].to_numpy(float)

    def days_to(column: str) -> np.ndarray:
        return (pd.to_datetime(pumps[column]) - start).dt.days.to_numpy(float)

    apart = pumps["pm_days"].to_numpy(float)
    to_stop = days_to("next_stop_on")
    to_stop = np.where(np.isnan(to_stop), apart, np.maximum(to_stop, 0.0))
    last = days_to("retires_on")
    extra = float((today - as_of).days + int(settings["extra_stop_days"]))
    return Ahead(
        to_extra_km=extra * per_day,
        to_stop_km=to_stop * per_day,
        interval_km=apart * per_day,
        in_bay=(pd.to_datetime(pumps["last_visited_on"]) == pd.Timestamp(today)).to_numpy(bool),
        may_extra=np.ones(len(pumps), bool),
        last_km=np.where(np.isnan(last), np.inf, np.maximum(last, 0.0) * np.maximum(per_day, 1e-9)),
    )


def with_words(pumps: pd.DataFrame, decisions: pd.DataFrame) -> pd.DataFrame:
    """Return `pumps` with action and job of what was decided, action_text, its code and values, and what a
    person decided."""
    pumps = named(pumps, pumps["option"].to_numpy(object))
    finding = pumps["finding_action"].to_numpy(object)
    changes = np.isin(pumps["job"].to_numpy(object), list(ACTIONS))
    check = np.where(np.isin(finding, CHECKS), finding, "repeat capture")
    action = np.select(
        [changes, (pumps["job"] == JOBS[CHECK]).to_numpy(), (finding == BOOK) & ~changes],
        [pumps["job"].map(ACTIONS).to_numpy(object), check, WATCH],
        finding,
    ).astype(object)
    share = on_the_day(pumps["p_change"].to_numpy(float), np.nan_to_num(pumps["risk_then"].to_numpy(float)))
    share_pct = np.nan_to_num(np.round(100 * share)).astype(int)
    asked = pumps.assign(action=action, share_pct=share_pct)
    rows = list(zip(*(asked[name].tolist() for name in _Asked._fields), strict=True))
    alike = {row: _what_to_do(_Asked(*row)) for row in set(rows)}  # much the same is done about many
    texts = {row: None if r is None else r.text for row, r in alike.items()}
    told, text = [alike[row] for row in rows], [texts[row] for row in rows]
    newest = decisions.set_index("pump_id") if len(decisions) else pd.DataFrame(index=pd.Index([], dtype=int))

    def said(name: str) -> pd.Series:
        if name not in newest:
            return pd.Series([None] * len(pumps), index=pumps.index, dtype=object)
        return pumps["pump_id"].map(newest[name]).astype(object)

    status = said("status")
    standing = status.isin(STANDING).to_numpy()
    # Booked as proposed it keeps what the proposal asks for first; a person's own wish asks for nothing.
    wished = standing & ~changes
    action[wished] = BOOK
    pumps.loc[wished, ["job", "asked_first"]] = JOBS[CHANGE], NO_LOOK
    why = said("reason")
    for i in np.flatnonzero(standing):
        told[i] = r = booked(why.iloc[i])
        text[i] = r.text
    steps = pumps["step_text"].astype(str)
    planned = pd.to_datetime(said("planned_on")).dt.date.astype(object)
    proposed = pumps["proposed_on"].astype(object)
    return pumps.assign(
        action=action,
        action_text=[step if said is None else said for said, step in zip(text, steps, strict=True)],
        action_code=[NEXT_TEST if r is None else r.code for r in told],
        action_values=pd.Series([{} if r is None else dict(r.values) for r in told], pumps.index, object),
        decision_status=status.where(status.notna(), None),
        decided_by=said("decided_by"),
        planned_on=planned.where(
            standing & planned.notna().to_numpy(), proposed.mask(status == REJECTED, None)
        ),
    )


def named(pumps: pd.DataFrame, option: np.ndarray) -> pd.DataFrame:
    """Return `pumps` with job, the one name of what is done at the stop in list, plan and pages, and
    asked_first: NO_LOOK, DROPS or LOOK.

    option: what is weighed for each (n,), of JOBS. Nothing is asked of a pump that has failed, whose steps or
    check are done, or that stands in the bay with zero and both drops of this very visit on record; where no
    outcome of a check could alter a change, zero and drops are, and that is a check and change too. A pump
    that was never read, or not for longer than its interval (unseen_days), is captured first.
    """
    done = pumps[["finished", "failed", "checked"]].to_numpy(bool).any(axis=1)
    done |= (option == JOBS[CHANGE]) & made_now(pumps)
    changes = np.isin(option, CHANGES)
    asked = np.select(
        [changes & done, option == JOBS[CHANGE], changes | (option == JOBS[CHECK])],
        [NO_LOOK, DROPS, LOOK],
        NO_LOOK,
    ).astype(object)
    unseen = pumps["unseen_days"].to_numpy() != 0
    change = np.select(
        [asked == NO_LOOK, unseen], [JOBS[CHANGE], CAPTURE_FIRST], JOBS[CHECK_AND_CHANGE]
    ).astype(object)
    job = np.where(changes, change, option)
    return pumps.assign(job=job.astype(object), asked_first=asked)


def made_now(pumps: pd.DataFrame) -> np.ndarray:
    """Return whether each pump's job is for the bay it stands in, and what such a change asks for first, zero
    and drops, is on record of that very visit, (n,)."""
    return np.asarray((pumps["at"] == TIMES[NOW]).to_numpy() & has(pumps["made"], *FIRST))


_AT = {"now": "at-now", "extra stop": "at-extra-stop"}


class _Asked(NamedTuple):
    """What the words about one pump rest on: share_pct, how often its check ends in a change;
    unseen_days, as `_unseen_days`; cause_found, one beside the pump that waits for its mending."""

    action: str
    option: str
    at: str
    because: str
    failed: bool
    finished: bool
    share_pct: int
    unseen_days: int
    cause_found: bool


def _what_to_do(row: _Asked) -> Remark | None:
    """Return what to do about one pump; None: what its next test says."""
    where = {
        "at": _AT.get(row.at, "at-next-stop"),
        "over": "over-ceiling" if row.because == ON_CEILING else "",
    }
    if row.failed:
        return remark("change-failed")
    if row.action == BOOK and row.finished:
        return remark("change-finding-stays", **where)
    if row.action == BOOK:
        return remark("change-after-check", **where)
    if row.action == CAPTURE_FIRST and row.unseen_days == NEVER_SEEN:
        return remark("change-never-captured", **where)
    if row.action == CAPTURE_FIRST:
        return remark("change-after-capture", days=row.unseen_days, **where)
    if row.action == CHECK_AND_CHANGE_ACTION and row.cause_found:
        return remark("mend-and-change", share_pct=row.share_pct, **where)
    if row.action == CHECK_AND_CHANGE_ACTION and row.option == JOBS[CHANGE]:
        return remark("change-after-drops", share_pct=row.share_pct, **where)
    if row.action == CHECK_AND_CHANGE_ACTION:
        return remark("check-and-change", share_pct=row.share_pct, **where)
    if row.finished and row.action == WATCH:
        return remark("watch-finding")
    return None
