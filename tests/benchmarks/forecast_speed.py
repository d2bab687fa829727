"""Speed of scoring and fitting on a ledger, and of random slopes beside a reference library in the same run.

    python -m tests.benchmarks.forecast_speed --pumps 100000 --visits 10

The race needs statsmodels, which is no dependency: `uv run --with statsmodels python -m tests.benchmarks...`.
"""

from __future__ import annotations

import argparse
import resource
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np

from analytics.judging.judged import judged_visits
from analytics.learning.fitting import fit_history, store_fit
from analytics.past.history import History, read_history
from analytics.past.lots import early_failures
from analytics.risk.forecast import State, fit_for, known_after, score
from analytics.risk.ranking import decided_facts, rank, rank_state, read_facts
from analytics.trend.mixed_model import fit_random_slope, group_sums
from analytics.wear_model.model import risk_model
from ingest.ledger.connection import open_ledger
from ingest.ledger.settings import settings_at
from tests.benchmarks.many_pumps import build


def main() -> None:
    """Build the ledger, time every stage and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--pumps", type=int, default=100_000)
    parser.add_argument("--visits", type=int, default=10)
    parser.add_argument("--variant", default="standard")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        ledger = Path(folder) / "many.duckdb"
        # In a process of its own: the memory printed is learning's and scoring's.
        with ProcessPoolExecutor(1, get_context("spawn")) as other:
            other.submit(build, ledger, args.pumps, args.visits, args.variant).result()
        print(f"{'':42} {'CPU s':>6} {'s':>6} {'MB at most':>11}")
        stages(ledger)
        timed("rank: all of it", lambda: rank(ledger))
    mixed_model_race()


def stages(ledger: Path) -> None:
    """Time each stage of learning and ranking."""
    with open_ledger(ledger) as connection:
        history = timed("past read from the ledger", lambda: read_history(connection, None))
    print(
        f"  {len(history.pumps):,} pumps, {len(history.visits):,} visits, "
        f"{history.pumps['failed'].sum():,} failures"
    )
    made = timed("full refit", lambda: fit_history(history))
    store_fit(ledger, made)
    state = timed("scored: both filters", lambda: score(history, fit_for(ledger, history)))
    with open_ledger(ledger) as connection:
        settings = settings_at(connection, history.as_of)
        timed("scored: risk, distances, drift, reasons", lambda: rank_state(state, settings))
        timed("one new visit for all, with new risks", new_visits(state))
        timed("types and lots held against the rest", lambda: early_failures(history))
        timed("visits read and judged", lambda: list(judged_visits(connection, history, settings)))
        facts = read_facts(connection, None)
    timed("risks, prices, findings, decision", lambda: decided_facts(facts, state))


def new_visits(state: State) -> Callable[[], Any]:
    """Return the job: every pump in service is read once more, 6,000 km later."""
    history: History = state.history
    visits = history.visits[~history.visits["pump"].duplicated(keep="last")]
    running = ~history.pumps["removed"].to_numpy(bool)
    visits = visits[running[visits["pump"].to_numpy(int)]]
    visits = visits.assign(x_km=visits["x_km"] + 6000.0).reset_index(drop=True)
    model = risk_model(state.fit.parameters)

    def job() -> None:
        known = known_after(state, visits)
        model.risk(known, np.zeros(len(visits)), np.full(len(visits), 8000.0))

    return job


def timed(name: str, job: Callable[[], Any]) -> Any:
    """Run once, print processor and wall seconds and the memory used so far; return the result."""
    cpu, wall = time.process_time(), time.perf_counter()
    made = job()
    cpu, wall = time.process_time() - cpu, time.perf_counter() - wall
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{name:42} {cpu:6.2f} {wall:6.2f} {memory:11.0f}", flush=True)
    return made


def mixed_model_race(groups: int = 4000, each: int = 8) -> None:
    """Fit the same random slopes here and with statsmodels, if it is installed; print times and
    log-likelihoods."""
    rng = np.random.default_rng(0)
    group = np.repeat(np.arange(groups), each)
    x = np.tile(np.arange(each, dtype=float), groups)
    b = rng.multivariate_normal([0, 0], [[1, 0.2], [0.2, 0.3]], groups)
    y = 5 + 0.5 * x + b[group, 0] + b[group, 1] * x + rng.normal(0, 0.7, len(x))
    start = time.process_time()
    ours = fit_random_slope(group_sums(group, x, y, groups))
    t_ours = time.process_time() - start
    try:
        from statsmodels.regression.mixed_linear_model import MixedLM
    except ImportError:
        print(f"random slopes: {t_ours:.3f} s here; statsmodels is not installed, so no race")
        return
    z = np.column_stack([np.ones_like(x), x])
    start = time.process_time()
    theirs = MixedLM(y, z, group, exog_re=z).fit(reml=True, method="lbfgs")
    t_theirs = time.process_time() - start
    print(
        f"random slopes, {groups} groups x {each}: {t_ours:.3f} s here, {t_theirs:.2f} s statsmodels, "
        f"{t_theirs / t_ours:.0f} times; log-likelihood {-ours.deviance / 2:.4f} and {theirs.llf:.4f}"
    )


if __name__ == "__main__":
    main()
