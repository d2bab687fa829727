"""The budget: the plan's jobs at their prices, then the rule's rate, failures by forecast, nothing once
retired."""

from __future__ import annotations

import io
from datetime import date, timedelta
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from analytics.cost_review.budget import ALL_DEPOTS, ALL_MONTHS, Rule, _failures, budget
from analytics.cost_review.budget_draws import Places, draw
from analytics.risk.forecast import GRID_KM, state_on
from dashboard.commands.cost import budget_csv, budget_dict
from dashboard.views.costs import budget as page
from dashboard.words import formats
from ingest.ledger.connection import open_ledger
from tests.ledger_fixture import LAST_VISIT, build_ledger

RULE = Rule(changes_per_km=1e-5, failures_left=0.25)


@pytest.fixture(scope="module")
def ledger(tmp_path_factory):
    path = build_ledger(tmp_path_factory.mktemp("budget") / "fleet.duckdb", fitted=True)
    with open_ledger(path, read_only=False) as con:
        con.execute("UPDATE vehicle SET retires_on = ? WHERE unit = '105'", [LAST_VISIT + timedelta(days=40)])
    return path


@pytest.fixture(scope="module")
def state(ledger):
    return state_on(ledger)


def prices(state):
    return pd.DataFrame({"planned": 650.0, "failure": 2400.0}, index=range(len(state.rows)))


def made(state, lines, **more):
    given = {"start": LAST_VISIT, "horizon_days": 120, "rule": RULE, "life_sd": 0.2} | more
    return budget(state, prices(state), lines, **given)


@pytest.fixture(scope="module")
def year(state):
    return made(state, lines_of(state, "101", LAST_VISIT + timedelta(days=35), 0.5))


def lines_of(state, unit, day, p_change=1.0):
    pumps = state.history.pumps.iloc[state.rows]
    pump = int(pumps.loc[pumps["unit"] == unit, "pump_id"].iloc[0])
    return pd.DataFrame({"pump_id": [pump], "planned_on": [day], "p_change": [p_change]})


def test_a_planned_change_costs_its_price_in_its_month_and_depot(state):
    lines = lines_of(state, "101", LAST_VISIT + timedelta(days=35), 0.8)
    table = made(state, lines).table
    row = table[(table["month"] == "2026-02") & (table["depot"] == "North")].iloc[0]
    assert row["changes"] == pytest.approx(0.8)
    assert row["changes_cost"] == pytest.approx(0.8 * 650)
    within = table["month"] <= "2026-04"
    assert table.loc[within, "changes"].sum() == pytest.approx(0.8)


def test_months_add_up_and_ranges_hold_them(year):
    table = year.table
    assert len(table) == 12 * 2
    np.testing.assert_allclose(table["cost"], table["changes_cost"] + table["failures_cost"])
    assert ((table["cost_low"] <= table["cost"]) & (table["cost"] <= table["cost_high"])).all()
    months, depots, total = year.by_month, year.by_depot, year.total.iloc[0]
    for sums in (months, depots):
        for name in ("changes_cost", "failures_cost", "changes", "failures", "cost"):
            assert sums[name].sum() == pytest.approx(table[name].sum()) == pytest.approx(total[name])
    assert months["month"].tolist()[0] == "2026-01"
    assert depots["depot"].tolist() == ["North", "South"]
    assert len(year.with_sums) == 1 + 2 + 12 + 24


def test_each_figure_of_the_budget_adds_up_from_the_exported_table(year):
    """Of its CSV, rows of month and depot make up every sum, on the page and in JSON too."""
    saved = pd.read_csv(io.StringIO(budget_csv(year)), keep_default_na=False)
    sums = (saved["month"] == ALL_MONTHS) | (saved["depot"] == ALL_DEPOTS)
    rows = saved[~sums]
    money = ["changes_cost", "failures_cost", "cost"]
    plain = budget_dict(year, SimpleNamespace(as_of=LAST_VISIT, currency="USD"))
    for part, keys in (("total", []), ("months", ["month"]), ("depots", ["depot"])):
        told = pd.DataFrame(plain[part])
        made = rows.groupby(keys)[money].sum() if keys else rows[money].sum().to_frame().T
        np.testing.assert_allclose(told[money], made, atol=0.01 * len(rows))
    assert pd.DataFrame(plain["rows"])[money].sum().tolist() == pytest.approx(rows[money].sum().tolist())
    np.testing.assert_allclose(saved["cost"], saved["changes_cost"] + saved["failures_cost"], atol=0.02)
    total = rows[money].sum()
    words = page.total_words(year, "USD")
    assert f"about {formats.about(total['cost'])} USD (8 in 10: " in words
    assert f"{formats.about(total['failures_cost'])} after failures" in words
    shown = page.shown(year.with_sums, "USD")
    assert shown["Month"].iloc[0] == ALL_MONTHS
    assert shown["In all, USD"].iloc[0] == round(total["cost"])
    np.testing.assert_allclose(shown["To, USD"], saved["cost_high"].round(0), atol=1)


def test_ranges_of_sums_come_from_the_same_draws_as_their_rows(state, year):
    """Chances that are apart even out: the total's range is narrower than its months' ends added up; draws
    mean what the rows say, and one depot alone has its own row's range."""
    months, total = year.by_month, year.total.iloc[0]
    reach = total["cost_high"] - total["cost_low"]
    assert 0 < reach < 0.6 * (months["cost_high"] - months["cost_low"]).sum()
    drawn = year.draws.sum(axis=1)
    assert drawn.mean() == pytest.approx(total["cost"], abs=4 * drawn.std() / np.sqrt(len(drawn)))
    # In so few pumps sums come in lumps, on the range's ends too.
    assert np.mean((drawn >= total["cost_low"]) & (drawn <= total["cost_high"])) >= 0.8
    north = year.of(["North"])
    assert north.total["cost_high"].iloc[0] == year.by_depot["cost_high"].iloc[0]
    shared = made(state, pd.DataFrame(), life_sd=0.6).total.iloc[0]
    alone = made(state, pd.DataFrame(), life_sd=0.0).total.iloc[0]
    assert shared["cost_high"] - shared["cost_low"] > 1.1 * (alone["cost_high"] - alone["cost_low"])


def test_the_range_of_steady_chances_is_that_of_their_counts():
    """n places that fail at a steady rate, replaced at once: failures in a year are Poisson, whose quantiles
    scipy.stats gives; spared failures thin them."""
    n, hazard = 400, 1e-5
    s = np.exp(-hazard * GRID_KM)[None, :].repeat(n, axis=0)
    places = Places(
        GRID_KM, s, s, np.full(n, 100.0), np.full(n, np.inf), np.full(n, np.inf), np.zeros(n),
        np.full(n, 650.0), np.full(n, 1.0), np.arange(n) % 2,
    )  # fmt: skip
    edges = np.arange(13) * 30.0
    drawn = draw(places, edges, 0.0, 0.0, 0.5, 0.0)
    assert drawn.shape[1:] == (12, 2)
    expected = stats.poisson(n * 100 * 360 * hazard * 0.5)
    counts = drawn.sum(axis=(1, 2))
    assert counts.mean() == pytest.approx(expected.mean(), rel=0.02)
    assert counts.std() == pytest.approx(expected.std(), rel=0.08)


def test_a_change_spares_failures_and_a_retired_vehicle_costs_nothing(state):
    none = made(state, pd.DataFrame())
    some = made(state, lines_of(state, "101", LAST_VISIT + timedelta(days=2)))
    assert some.table["failures"].sum() < none.table["failures"].sum()
    pumps = state.history.pumps.iloc[state.rows]
    alone = budget(
        type(state)(state.history, state.fit, state.filtered, state.rows[(pumps["unit"] == "105").to_numpy()],
                    state.known.take(np.flatnonzero(pumps["unit"] == "105")),
                    state.d_0[(pumps["unit"] == "105").to_numpy()]),
        prices(state).head(1), pd.DataFrame(), LAST_VISIT, 120, RULE, 0.2,
    ).table  # fmt: skip
    assert (alone.loc[alone["month"] >= "2026-03", "cost"] == 0).all()
    assert (alone.loc[alone["month"] <= "2026-02", "cost"] > 0).all()


def test_failures_of_a_steady_hazard_are_its_rate_times_the_distance():
    """Exponential lives, old and new alike: replaced at once, a place fails at the rate whatever is
    changed."""
    hazard = 1e-5
    s = np.exp(-hazard * GRID_KM)[None, :]
    rate, edges = np.array([100.0]), np.array([0.0, 30.0, 60.0, 90.0])
    told = _failures(s, s, rate, edges, np.array([np.inf]), np.array([45.0]), np.array([0.5]))
    # By months a failure's successor is counted from the month after: short by half of (rate)^2, 0.05 %.
    np.testing.assert_allclose(told[0], 100 * 30 * hazard, rtol=0.02)


def test_a_date_in_a_month_begins_there():
    assert date(2026, 1, 1) == LAST_VISIT
