"""Cached answers for the pages, each kept until the ledger file changes.

A key holds the ledger's path, its stamp (size and time of the file and of its write-ahead log) and, where
rows are looked at, the depots that the one who asks is bound to.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import date
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd
import streamlit as st

from dashboard.data import queries
from dashboard.data.answer_store import LARGE, AnswerStore, Kept
from dashboard.data.answers import Stamp, stamp
from dashboard.data.depots import Own, bound_to, of_own
from ingest.capture import Capture
from ingest.errors import PumpledgerError
from ingest.ledger.clamps import Clamp, clamp_of, factors
from ingest.ledger.connection import open_ledger
from ingest.ledger.depots import Depots
from ingest.settings_in_force import Settings
from ingest.visit.choices import Choice
from ingest.visit.holds import holds_on_pump
from ingest.visit.settling import offered
from ingest.visit.warranty import Warranty, warranty_of
from ingest.visit.warranty import warranties as read_warranties
from ingest.wording.language import spoken

if TYPE_CHECKING:
    from analytics.cost_review.budget import Budget
    from analytics.cost_review.costs import CostReview
    from analytics.judging.verdict import Verdict
    from analytics.money.cost_book import CostBook
    from analytics.risk.pump_drift import PumpDrift
    from analytics.risk.pump_story import PumpStory
    from analytics.scheduling.in_the_bay import BayDecision
    from analytics.scheduling.planning import Plan

MOST_UNITS_IN_LIST = 2000


def ledger_path() -> Path:
    """Return the ledger this dashboard shows."""
    return Path(os.environ.get("PUMPLEDGER", "pumpledger.duckdb"))


@st.cache_resource(show_spinner=False)
def warm_up() -> None:
    """Import what measuring needs in the background, once, so that nobody's first capture waits."""

    def load() -> None:
        for name in (
            "ingest.readers.capture_file",
            "ingest.measuring.measurement",
            "analytics.judging.verdict",
            "ingest.visit.logging_visit",
            "analytics.risk.ranking",
        ):
            import_module(name)

    threading.Thread(target=load, daemon=True, name="warm-up").start()


def ask(name: str, **parameters: Any) -> pd.DataFrame:
    """Run a query of dashboard/sql on the ledger, or return its kept answer; don't change what comes back."""
    ledger = ledger_path()
    return _ask(str(ledger), stamp(ledger), bound_to(), name, tuple(sorted(parameters.items())))


@st.cache_resource(show_spinner=False, max_entries=200)
def _ask(
    ledger: str, stamp_key: Stamp, depots: Depots, name: str, parameters: tuple[tuple[str, Any], ...]
) -> pd.DataFrame:
    return queries.ask(Path(ledger), name, bound_to=depots, **dict(parameters))


@contextmanager
def reading() -> Iterator[Any]:
    """Yield a connection that reads the ledger, of what the one at the screen sees."""
    with open_ledger(ledger_path(), depots=bound_to()) as connection:
        yield connection


def clamp(name: str) -> Clamp | None:
    """Return what is on record of a clamp, None where it is not."""
    if not name or not ledger_path().exists():
        return None
    with reading() as connection:
        return clamp_of(connection, name)


def clamp_factors() -> dict[str, str]:
    """Return the factor of each clamp on record that has one, by its name."""
    if not ledger_path().exists():
        return {}
    with reading() as connection:
        return factors(connection)


def values_of(field: str) -> list[str]:
    """Return what a list can be narrowed to by "depot", "pump_type" or "class"."""
    ledger = ledger_path()
    return _values(str(ledger), stamp(ledger), bound_to()).get(field, [])


@st.cache_resource(show_spinner=False, max_entries=20)
def _values(ledger: str, stamp_key: Stamp, depots: Depots) -> dict[str, list[str]]:
    found = queries.ask(Path(ledger), "filters", bound_to=depots)
    return {str(field): rows["value"].tolist() for field, rows in found.groupby("field", sort=False)}


def offers(questions: list[dict[str, Any]]) -> list[tuple[Choice, ...]]:
    """Return the answers that each of these open questions (rows of open_questions.sql) offers."""
    ledger = ledger_path()
    ids = tuple(int(row["question_id"]) for row in questions)
    return _offers(str(ledger), stamp(ledger), bound_to(), ids, questions)


@st.cache_resource(show_spinner=False, max_entries=20)
def _offers(
    ledger: str, stamp_key: Stamp, depots: Depots, ids: tuple[int, ...], _questions: list[dict[str, Any]]
) -> list[tuple[Choice, ...]]:
    with reading() as connection:
        return [offered(connection, row) for row in _questions]


def warranties(pump_ids: list[int]) -> dict[int, Warranty]:
    """Return the warranty of each of these pumps that the one at the screen sees."""
    ledger = ledger_path()
    # As one text: to hash a number at a time takes longer than to read them from the ledger.
    return _warranties(str(ledger), stamp(ledger), bound_to(), ",".join(map(str, pump_ids)))


@st.cache_resource(show_spinner=False, max_entries=20)
def _warranties(ledger: str, stamp_key: Stamp, depots: Depots, pump_ids: str) -> dict[int, Warranty]:
    with reading() as connection:
        return read_warranties(connection, [int(number) for number in pump_ids.split(",") if number])


def warranty(pump_id: int) -> Warranty:
    """Return one pump's warranty."""
    ledger = ledger_path()
    return _warranty(str(ledger), stamp(ledger), bound_to(), pump_id)


@st.cache_resource(show_spinner=False, max_entries=100)
def _warranty(ledger: str, stamp_key: Stamp, depots: Depots, pump_id: int) -> Warranty:
    with reading() as connection:
        return warranty_of(connection, pump_id)


def holds(pump_id: int) -> list[str]:
    """Return a sentence for each hold that stands on a pump."""
    ledger = ledger_path()
    return _holds(str(ledger), stamp(ledger), bound_to(), pump_id)


@st.cache_resource(show_spinner=False, max_entries=100)
def _holds(ledger: str, stamp_key: Stamp, depots: Depots, pump_id: int) -> list[str]:
    with reading() as connection:
        return holds_on_pump(connection, pump_id)


def unit_names() -> list[str] | None:
    """Return every unit number to choose from, or None where there are too many for a list."""
    if not ledger_path().exists():
        return []
    if ask("fleet_counts")["vehicles"].iloc[0] > MOST_UNITS_IN_LIST:
        return None
    return ask("unit_names")["unit"].tolist()


def pumps_holding(find: str) -> list[int]:
    """Return the pumps in service with a text, case aside, anywhere in unit, VIN or serial number."""
    names = ask("pump_names")  # kept for each state of the ledger: no letter typed asks it again
    return names.loc[names["names"].str.contains(find.lower(), regex=False), "pump_id"].tolist()


def near_matches(unit: str) -> list[str]:
    """Return existing units that a typed number may stand for."""
    ledger = ledger_path()
    return _near_matches(str(ledger), stamp(ledger), bound_to(), unit) if ledger.exists() else []


@st.cache_resource(show_spinner=False, max_entries=100)
def _near_matches(ledger: str, stamp_key: Stamp, depots: Depots, unit: str) -> list[str]:
    return queries.units_like(Path(ledger), unit, depots)


def last_fact() -> date | None:
    """Return the day of the newest fact that the one at the screen sees, or None."""
    ledger = ledger_path()
    return _last_fact(str(ledger), stamp(ledger), bound_to())


@st.cache_resource(show_spinner=False, max_entries=20)
def _last_fact(ledger: str, stamp_key: Stamp, depots: Depots) -> date | None:
    return queries.last_fact(Path(ledger), bound_to=depots)


def pump_drift(pump_id: int) -> PumpDrift | None:
    """Return one pump's lines of current, ripple and speed as of the last visit; None without a visit."""
    ledger = ledger_path()
    return _pump_drift(str(ledger), stamp(ledger), pump_id) if is_own(pump_id) else None


@st.cache_resource(show_spinner=False, max_entries=100)
def _pump_drift(ledger: str, stamp_key: Stamp, pump_id: int) -> PumpDrift | None:
    from analytics.risk.pump_drift import pump_drift as work_out

    last = queries.ask(Path(ledger), "fleet_counts").iloc[0]["last_visited_on"]
    return None if pd.isna(last) else work_out(Path(ledger), pump_id, pd.Timestamp(last).date())


def pump_story(pump_id: int, ahead_km: tuple[float, ...]) -> PumpStory | None:
    """Return one pump's hidden damages as the risk has them, as of the last visit on record, and over
    `ahead_km` beyond its last reading (analytics.risk.pump_story); None where nothing is learned."""
    ledger = ledger_path()
    return _pump_story(str(ledger), stamp(ledger), pump_id, ahead_km) if is_own(pump_id) else None


@st.cache_resource(show_spinner=False, max_entries=100)
def _pump_story(ledger: str, stamp_key: Stamp, pump_id: int, ahead_km: tuple[float, ...]) -> PumpStory | None:
    import numpy as np

    from analytics.risk.pump_story import pump_story as work_out

    last = queries.ask(Path(ledger), "fleet_counts").iloc[0]["last_visited_on"]
    return (
        None
        if pd.isna(last)
        else work_out(Path(ledger), pump_id, pd.Timestamp(last).date(), np.array(ahead_km))
    )


def state_shown() -> tuple[Any, ...]:
    """Return what an answer hangs on beside its question: the ledger and its state, depots, language."""
    ledger = ledger_path()
    return str(ledger), stamp(ledger), bound_to(), spoken()


def settings() -> Settings:
    """Return the settings in force."""
    ledger = ledger_path()
    return _settings(str(ledger), stamp(ledger))


@st.cache_resource(show_spinner=False, max_entries=4)
def _settings(ledger: str, stamp_key: Stamp) -> Settings:
    return queries.settings(Path(ledger))


def cost_book() -> CostBook:
    """Return every price in force."""
    ledger = ledger_path()
    return _cost_book(str(ledger), stamp(ledger))


@st.cache_resource(show_spinner=False, max_entries=4)
def _cost_book(ledger: str, stamp_key: Stamp) -> CostBook:
    from analytics.money.cost_book import read_costs

    return read_costs(Path(ledger))


def cost_facts() -> pd.DataFrame:
    """Return every event that cost money, once (analytics.cost_review.facts.cost_facts)."""
    ledger = ledger_path()
    return only_own(_cost_facts(str(ledger), stamp(ledger)))


@st.cache_resource(show_spinner=False, max_entries=4)
def _cost_facts(ledger: str, stamp_key: Stamp) -> pd.DataFrame:
    from analytics.cost_review.facts import read_facts

    return read_facts(Path(ledger))


def kept(name: str, doing: str) -> Kept:
    """Return a long answer (one of dashboard.data.answers) with its state; `doing` is said while waiting."""
    ledger = ledger_path()
    store, now, large = _answer_store(str(ledger)), stamp(ledger), is_large()
    known = store.at_once(name, now, large=large)
    if known is None:
        with st.spinner(doing, show_time=large):
            known = store.get(name, now, large=large)
    return replace(known, value=only_own(known.value)) if bound_to() else known


def only_own(answer: Any) -> Any:
    """Return an answer about the whole fleet as the one at the screen may see it."""
    ledger, depots = ledger_path(), bound_to()
    return of_own(answer, _own(str(ledger), stamp(ledger), depots)) if depots else answer


def without_others(sentences: list[str]) -> list[str]:
    """Return the sentences that name no other depot's unit to the one at the screen."""
    return list(only_own(tuple(sentences)))


@st.cache_resource(show_spinner=False, max_entries=20)
def _own(ledger: str, stamp_key: Stamp, depots: Depots) -> Own:
    everything = queries.ask(Path(ledger), "whose_pumps")
    theirs = everything["depot"].isin(depots)
    own, others = everything[theirs], everything[~theirs]
    return Own(
        frozenset(depots), frozenset(own["unit"]), frozenset(own["pump_id"].dropna().astype(int)),
        frozenset(others["unit"]) | frozenset(others["depot"].dropna()),
    )  # fmt: skip


def is_own(pump_id: int) -> bool:
    """Return whether the one at the screen may see a pump."""
    return not bound_to() or len(ask("pump_head", pump_id=pump_id)) > 0


def is_large() -> bool:
    """Return whether long answers take so long on this fleet that the last ones are shown meanwhile."""
    ledger = ledger_path()  # of the whole fleet, whoever asks
    counts = _ask(str(ledger), stamp(ledger), (), "fleet_counts", ())
    return bool(counts["pumps_in_service"].iloc[0] >= LARGE)


def is_stale(answer: Kept) -> bool:
    """Return whether the ledger has changed since an answer."""
    return answer.stamp != stamp(ledger_path())


def ranked() -> Kept:
    """Return the newest ranking of every pump in service, highest risk first, with the state it shows."""
    return kept("ranking", "Working out the risk of every pump …")


def ranking() -> pd.DataFrame:
    """Return every pump in service by risk, highest first; currents_a: its last readings, oldest first."""
    return ranked().value.pumps


def groups() -> pd.DataFrame:
    """Return pump types and lots held against the rest, likeliest trouble first."""
    return ranked().value.groups


@st.cache_resource(show_spinner=False, max_entries=4)
def _answer_store(ledger: str) -> AnswerStore:
    return AnswerStore(Path(ledger))


@st.cache_resource(show_spinner=False, max_entries=8)
def waveform(ledger: str, capture_hash: str) -> Capture:
    """Return a stored capture (a hash never changes its samples)."""
    from ingest.waveforms import load_waveform

    return load_waveform(ledger, capture_hash)


def sound_waveform(capture_hash: str) -> Capture | None:
    """Return a stored capture, None where its file was removed or can't be read."""
    try:
        return waveform(str(ledger_path()), capture_hash)
    except PumpledgerError:
        return None


def survival(pump_id: int) -> pd.DataFrame | None:
    """Return the chance of running on over the distance ahead: distance_km, running, new_running."""
    if not is_own(pump_id):
        return None
    curves = kept("ahead", "Working out the distance ahead …").value
    where = (curves.pump_id == pump_id).nonzero()[0]
    if not len(where):
        return None
    row = int(where[0])
    new = curves.new_pump_survival
    return pd.DataFrame(
        {
            "distance_km": curves.grid_km,
            "running": curves.survival[row],
            "new_running": new[row] if new.ndim == 2 else new,
        }
    )


def planned() -> Kept:
    """Return the newest replacement plan, as of the last dated fact, with the state it shows."""
    return kept("plan", "Planning …")


def last_verdict(pump_id: int) -> Verdict | None:
    """Return the verdict on a pump's last visit; None without any."""
    visits = ask("visits_of_pump", pump_id=pump_id)
    return visit_verdict(int(visits["visit_id"].iloc[-1])) if len(visits) else None


def visit_verdict(visit_id: int) -> Verdict:
    """Return the verdict on a stored visit."""
    ledger = ledger_path()
    return _visit_verdict(str(ledger), stamp(ledger), bound_to(), visit_id, spoken())


@st.cache_resource(show_spinner=False, max_entries=50)
def _visit_verdict(ledger: str, stamp_key: Stamp, depots: Depots, visit_id: int, language: str) -> Verdict:
    from analytics.judging.verdict import judge_visit

    with reading() as connection:
        return judge_visit(connection, visit_id)


def bay_decision(visit_id: int) -> BayDecision | None:
    """Return what to do while a visit's vehicle still stands there; None where it is not its
    pump's newest visit, or nothing was learned of the fleet yet."""
    ledger = ledger_path()
    if not len(ask("pump_of_visit", visit_id=visit_id)):
        return None
    return _bay_decision(str(ledger), stamp(ledger), visit_id, spoken())


@st.cache_resource(show_spinner=False, max_entries=20)
def _bay_decision(ledger: str, stamp_key: Stamp, visit_id: int, language: str) -> BayDecision | None:
    from analytics.scheduling.in_the_bay import decide_after

    return decide_after(Path(ledger), visit_id)


def forecast_record() -> Kept | None:
    """Return the newest test of past forecasts, or None while the first is being worked out in the
    background."""
    ledger = ledger_path()
    known = _answer_store(str(ledger)).soon("record", stamp(ledger))
    return known and replace(known, value=only_own(known.value))


def budget() -> Budget:
    """Return what the next twelve months will cost by month and depot."""
    made, costs = planned(), cost_review()
    stamps = (*made.stamp, *costs.stamp)
    depots = bound_to()
    whole = _budget(str(ledger_path()), stamps, depots, made.value, costs.value)
    return whole.of(depots) if depots else whole


@st.cache_resource(show_spinner=False, max_entries=4)
def _budget(ledger: str, stamp_key: Stamp, depots: Depots, _plan: Plan, _costs: CostReview) -> Budget:
    from analytics.cost_review.budget import budget_of

    return budget_of(Path(ledger), _costs, _plan.lines, _plan.today, _plan.horizon_days)


def cost_review() -> Kept:
    """Return the newest cost review, as of the last dated fact, with the state it shows."""
    return kept("costs", "Comparing policies on this fleet …")
