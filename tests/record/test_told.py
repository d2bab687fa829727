"""Forecasts kept as they were told: what is new is kept once, and held against what came."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analytics.past.frames import fetch
from analytics.past.history import History
from analytics.record.backtest import backtest
from analytics.record.told import judge_told, keep_told
from analytics.risk.ranking import rank, rank_and_groups
from dashboard.data.answers import work_out
from ingest.ledger.connection import open_ledger
from tests.ledger_fixture import build_ledger


@pytest.fixture(scope="module")
def ledger(tmp_path_factory):
    return build_ledger(tmp_path_factory.mktemp("told") / "l.duckdb", fitted=True)


def kept(ledger):
    with open_ledger(ledger) as con:
        return con.execute("SELECT * FROM told_forecast ORDER BY pump_id, recorded_at").df()


def test_what_is_told_is_kept_once_by_the_job_that_scores_and_by_no_look_at_a_past_day(ledger):
    stamp, made = work_out("ranking", ledger)
    rows = kept(ledger)
    running = made.pumps[made.pumps["risk"].notna()]
    assert len(rows) == len(running) > 3
    told = rows.set_index("pump_id").loc[running["pump_id"]]
    assert told["risk"].to_numpy() == pytest.approx(running["risk"].to_numpy(float), rel=1e-6)
    assert (told["low_km"] <= told["high_km"]).all()
    assert work_out("ranking", ledger)[0] == stamp  # nothing new: the file stays as it is
    rank(ledger, as_of=pd.Timestamp(made.pumps.attrs["as_of"]).date())
    assert len(kept(ledger)) == len(rows)


def test_a_row_is_new_with_a_visit_or_a_fit_and_never_of_an_earlier_day(ledger):
    table, _ = rank_and_groups(ledger)
    keep_told(ledger, table)
    before = len(kept(ledger))
    seen = table.assign(visits=table["visits"] + (np.arange(len(table)) == 0))
    seen.attrs = table.attrs
    assert keep_told(ledger, seen) == 1
    table.attrs["fit_id"] = 1000 + table.attrs["fit_id"]
    table.attrs["as_of"] = "1999-01-01"
    assert keep_told(ledger, table) == 0
    assert len(kept(ledger)) == before + 1


def test_looking_back_says_first_what_was_told(ledger):
    with open_ledger(ledger) as con:
        assert len(fetch(con, "told_until", [None])) == len(kept(ledger))
    assert "made anew" in backtest(ledger, cutoffs=1).told.text


def judged(rows, lives):
    """Rows of (pump, day, visits, run_km, risk, horizon_km) against lives of (now_km, failed, removed)."""
    names = ["pump_id", "day", "visits", "run_km", "risk", "horizon_km"]
    pumps = pd.DataFrame(lives, columns=["now_km", "failed", "removed"]).assign(pump_id=np.arange(len(lives)))
    return judge_told(pd.DataFrame(rows, columns=names), History(20000, pumps, pd.DataFrame()))


def test_expected_failures_follow_the_distance_run_until_removal():
    """By hand: hazards -ln(.5) over a whole horizon and over the half of one until the pump was taken off."""
    rows = [(0, 100, 1, 0.0, 0.5, 10e3), (1, 100, 1, 0.0, 0.5, 10e3)]
    found = judged(rows, [(30e3, False, False), (5e3, False, True)])
    assert found.expected == pytest.approx(1.5 * np.log(2))
    assert (found.forecasts, found.failed, found.taken_off) == (2, 0, 1)
    assert "can't be told" in found.text


def test_only_the_first_forecast_after_a_visit_counts_and_horizons_do_not_overlap():
    rows = [
        (0, 100, 1, 0.0, 0.1, 10e3),
        (0, 120, 1, 2e3, 0.2, 10e3),  # a new fit alone
        (0, 150, 2, 6e3, 0.3, 10e3),  # within the first one's horizon
        (0, 200, 3, 11e3, 0.4, 10e3),
    ]
    found = judged(rows, [(15e3, True, True)])
    assert (found.forecasts, found.failed) == (2, 1)
    assert found.expected == pytest.approx(-np.log(0.9) - 0.4 * np.log(0.6))


def test_how_well_they_rank_is_told_where_nobody_acted():
    rows = [(k, 100, 1, 0.0, 0.5 if k < 6 else 0.1, 10e3) for k in range(12)]
    lives = [(5e3, True, True) if k < 6 else (20e3, False, False) for k in range(12)]
    found = judged(rows, lives)
    assert found.auc == 1.0
    assert "100 of 100" in found.text
    assert replace(found, auc=None).text.count("nothing can be said") == 1
    assert ": 1 forecast of 1 pump, " in replace(found, forecasts=1, pumps=1).text


def test_a_forecast_still_under_way_is_not_judged():
    assert judged([(0, 100, 1, 0.0, 0.5, 10e3)], [(5e3, False, False)]).forecasts == 0
