"""Cached answers for the pages, each kept until the ledger file changes.

A key holds the ledger's path and its stamp: size and time of the file and of its write-ahead log.
"""

from __future__ import annotations

import os
import threading
from importlib import import_module
from pathlib import Path
from typing import Any

import pandas as pd
import streamlit as st

from dashboard import queries
from dashboard.ranking_store import LARGE, Ranked, RankingStore
from ingest.capture import Capture

Stamp = tuple[int, ...]


def ledger_path() -> Path:
    """Return the ledger this dashboard shows."""
    return Path(os.environ.get("PUMPLEDGER", "pumpledger.duckdb"))


def stamp(ledger: Path) -> Stamp:
    """Return what changes whenever the ledger does; () when there is none."""
    marks: list[int] = []
    for path in (ledger, ledger.with_name(ledger.name + ".wal")):
        try:
            state = path.stat()
            marks += [state.st_mtime_ns, state.st_size]
        except FileNotFoundError:
            marks += [0, 0]
    return tuple(marks) if marks[0] else ()


@st.cache_resource(show_spinner=False)
def warm_up() -> None:
    """Import what measuring needs in the background, once, so that nobody's first capture waits."""

    def load() -> None:
        for name in (
            "ingest.reader",
            "ingest.measurement",
            "ingest.verdict",
            "ingest.logging_visit",
            "analytics.ranking",
        ):
            import_module(name)

    threading.Thread(target=load, daemon=True, name="warm-up").start()


def ask(name: str, **parameters: Any) -> pd.DataFrame:
    """Run a query of dashboard/sql on the ledger, or return its kept answer; don't change what comes back."""
    ledger = ledger_path()
    return _ask(str(ledger), stamp(ledger), name, tuple(sorted(parameters.items())))


@st.cache_resource(show_spinner=False, max_entries=200)
def _ask(ledger: str, stamp_key: Stamp, name: str, parameters: tuple[tuple[str, Any], ...]) -> pd.DataFrame:
    return queries.ask(Path(ledger), name, **dict(parameters))


def near_matches(unit: str) -> list[str]:
    """Return existing units that a typed number may stand for."""
    ledger = ledger_path()
    return _near_matches(str(ledger), stamp(ledger), unit) if ledger.exists() else []


@st.cache_resource(show_spinner=False, max_entries=100)
def _near_matches(ledger: str, stamp_key: Stamp, unit: str) -> list[str]:
    return queries.near_matches(unit, queries.ask(Path(ledger), "unit_names")["unit"].tolist())


def settings() -> dict[str, Any]:
    """Return the settings in force."""
    ledger = ledger_path()
    return _settings(str(ledger), stamp(ledger))


@st.cache_resource(show_spinner=False, max_entries=4)
def _settings(ledger: str, stamp_key: Stamp) -> dict[str, Any]:
    return queries.settings(Path(ledger))


def ranked() -> Ranked:
    """Return the newest ranking of every pump in service, highest risk first, with the state it shows."""
    ledger = ledger_path()
    store = _ranking_store(str(ledger))
    kept = store.newest
    if kept is not None and kept.stamp == stamp(ledger):
        return kept
    with st.spinner("Working out the risk of every pump …"):
        kept = store.get(stamp(ledger))
    now = stamp(ledger)
    # A first ranking stores its fit, which changes the file without changing a figure.
    if kept is store.newest and kept.stamp != now and len(kept.pumps) < LARGE:
        kept = store.get(now)
    return kept


def ranking() -> pd.DataFrame:
    """Return every pump in service by risk, highest first."""
    return ranked().pumps


@st.cache_resource(show_spinner=False, max_entries=4)
def _ranking_store(ledger: str) -> RankingStore:
    return RankingStore(Path(ledger))


def trends(pump_ids: tuple[int, ...]) -> pd.DataFrame:
    """Return the last readings of some pumps as lists, indexed by pump_id."""
    ledger = ledger_path()
    return _trends(str(ledger), stamp(ledger), pump_ids)


@st.cache_resource(show_spinner=False, max_entries=50)
def _trends(ledger: str, stamp_key: Stamp, pump_ids: tuple[int, ...]) -> pd.DataFrame:
    return queries.trends(Path(ledger), list(pump_ids))


@st.cache_resource(show_spinner=False, max_entries=8)
def waveform(ledger: str, capture_hash: str) -> Capture:
    """Return a stored capture (a hash never changes its samples)."""
    from ingest.waveforms import load_waveform

    return load_waveform(ledger, capture_hash)


def survival(pump_id: int) -> pd.DataFrame | None:
    """Return the chance of running on over the distance ahead: distance_km, running, new_running."""
    ledger = ledger_path()
    curves = _forecast(str(ledger), stamp(ledger))
    if curves is None:
        return None
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


@st.cache_resource(show_spinner="Working out the distance ahead …", max_entries=2)
def _forecast(ledger: str, stamp_key: Stamp) -> Any:
    import numpy as np

    try:
        from analytics.forecast import forecast
    except ImportError:
        return None
    return forecast(Path(ledger), grid_km=np.linspace(0, 60_000, 61))


def plan() -> Any:
    """Return the replacement plan as of the last dated fact."""
    ledger = ledger_path()
    return _plan(str(ledger), stamp(ledger))


@st.cache_resource(show_spinner="Planning …", max_entries=2)
def _plan(ledger: str, stamp_key: Stamp) -> Any:
    from analytics.planning import plan as make

    return make(Path(ledger))


def backtest_known() -> Any:
    """Return the test of past forecasts if it was worked out on this ledger as it stands, else None."""
    kept = st.session_state.get("backtest")
    return kept[1] if kept and kept[0] == stamp(ledger_path()) else None


def work_out_backtest(progress: Any) -> Any:
    """Stand on past days and forecast; takes a fit for each. progress(done, of)."""
    from analytics.backtest import backtest

    ledger = ledger_path()
    result = backtest(ledger, progress=progress)
    st.session_state["backtest"] = (stamp(ledger), result)
    return result


def cost_review() -> Any:
    """Return the cost review as of the last dated fact."""
    ledger = ledger_path()
    return _cost_review(str(ledger), stamp(ledger))


@st.cache_resource(show_spinner="Comparing policies on this fleet …", max_entries=2)
def _cost_review(ledger: str, stamp_key: Stamp) -> Any:
    from analytics.costs import cost_review as review

    return review(Path(ledger))
