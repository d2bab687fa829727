"""A fleet's own number reaches everyone who uses it: measuring, judge, chart, trend, list and back-test."""

from pathlib import Path

import numpy as np
import pytest

from analytics.judging.verdict import judge
from analytics.learning.fitting import fit_history, store_fit, stored_fit
from analytics.past.history import load_history
from analytics.past.normalise import covariates
from analytics.record.plain_rules import rule_scores
from analytics.risk.pump_drift import pump_drift
from analytics.risk.ranking import rank
from dashboard.views.pump_history.metrics import baseline_band, placed
from ingest.author import Author
from ingest.ledger.connection import open_ledger
from ingest.ledger.settings import set_setting, settings_at
from ingest.trade_numbers import DEFAULTS
from ingest.visit.entry import VisitEntry
from ingest.visit.logging_visit import known_before_measuring
from tests.ledger_fixture import LAST_VISIT, build_ledger


@pytest.fixture
def ledger(tmp_path) -> Path:
    """The small fleet, its pump types without limits of their own."""
    path = build_ledger(tmp_path / "fleet.duckdb")
    with open_ledger(path, read_only=False) as con:
        con.execute("UPDATE pump_type SET rpm_low = NULL, rpm_high = NULL, ripple_limit_pct = NULL")
    return path


def change(ledger, key, value):
    set_setting(ledger, key, value, author=Author("T", "manager"), reason="test")


def judged(ledger):
    with open_ledger(ledger) as con:
        visits = con.execute("SELECT * FROM visit_detail ORDER BY visited_on, visit_id").df()
        return judge(visits, settings_at(con))


def test_the_usual_speed_reaches_measuring_judge_and_plain_rule(ledger):
    entry = VisitEntry("102", visited_on=LAST_VISIT)
    assert known_before_measuring(ledger, entry).band_rpm == (3400, 10_000)
    assert not judged(ledger)["speed_low_usual"].any()
    past = load_history(ledger)
    rows = np.arange(len(past.pumps))
    before = rule_scores(past, rows, np.full(len(rows), 1e4))["limits"]
    change(ledger, "rpm_low", 7000.0)
    change(ledger, "rpm_high", 9000.0)
    assert known_before_measuring(ledger, entry).band_rpm == (7000, 9000)
    assert known_before_measuring(ledger, VisitEntry("new", visited_on=LAST_VISIT)).band_rpm == (7000, 9000)
    assert judged(ledger)["speed_low_usual"].any()
    now = load_history(ledger)
    after = rule_scores(now, rows, np.full(len(rows), 1e4))["limits"]
    assert (after > before).any()
    assert (now.pumps["rpm_high"] == 9000).all()


def test_the_reference_volts_reach_verdict_trend_and_fit(ledger):
    store_fit(ledger, fit_history(load_history(ledger)))
    line = pump_drift(ledger, 1, LAST_VISIT)
    at_135 = judged(ledger)
    change(ledger, "reference_supply_v", 12.5)
    at_125 = judged(ledger)
    # 13.5 V recorded throughout: what was at the reference is now (11.8 / 12.8) ** (1 / .811) of its speed.
    direct = at_135["supply"] == "direct"  # the judge leaves a pulsed supply's volts alone
    slower = np.exp(at_125["ln_rpm"] - at_135["ln_rpm"])[direct]
    np.testing.assert_allclose(slower, (11.8 / 12.8) ** (1 / 0.811), rtol=1e-6)
    again = pump_drift(ledger, 1, LAST_VISIT)
    assert stored_fit(ledger) is None  # it rests on other volts
    assert again.drift["rpm"] is None
    np.testing.assert_allclose(again.visits["rpm"] / line.visits["rpm"], slower.iloc[0], rtol=1e-2)
    refitted = store_fit(ledger, fit_history(load_history(ledger)))
    level = pump_drift(ledger, 1, LAST_VISIT).drift["rpm"].level
    np.testing.assert_allclose(level / line.drift["rpm"].level, slower.iloc[0], rtol=1e-2)
    assert stored_fit(ledger).fit_id == refitted.fit_id


def test_a_24_v_unit_is_compared_at_twice_the_volts(ledger):
    with open_ledger(ledger, read_only=False) as con:
        con.execute("UPDATE vehicle SET system_v = 24 WHERE unit = '102'")
        con.execute("UPDATE visit SET supply_v = 27 WHERE unit = '102'")
    history = load_history(ledger)
    away = covariates(history.visits, history.pumps)[:, 0]
    assert away == pytest.approx(0, abs=1e-12)


def test_what_an_engine_hour_is_worth_reaches_the_pumps_clock_and_the_chart(ledger):
    with open_ledger(ledger, read_only=False) as con:
        con.execute("UPDATE vehicle SET clock = 'hours' WHERE unit = '102'")
        con.execute("UPDATE visit SET hours = 1000 + (odometer_km - 99000) / 45 WHERE unit = '102'")
        con.execute("UPDATE pump SET fitted_hours = 0 WHERE unit = '102'")
        rows = con.execute("SELECT * FROM visit_detail WHERE unit = '102'").df()

    def run_km(setting):
        history = load_history(ledger)
        [mine] = history.pumps.index[history.pumps["unit"] == "102"]
        last = history.visits[history.visits["pump"] == mine]["x_km"].max()
        hours = rows.assign(clock="hours", hours_on_pump=rows["hours"])
        _, axis = placed(hours, {"distance_unit": "mi", "idle_hour_miles": setting})
        return last, axis.km

    # 29 mi an hour (25 to 33: common practice, no source), 1.609344 km a mile (international mile of 1959)
    assert run_km(29.0) == pytest.approx((1800 * 29 * 1.609344, 29 * 1.609344))
    store_fit(ledger, fit_history(load_history(ledger)))
    change(ledger, "idle_hour_miles", 20.0)
    assert run_km(20.0) == pytest.approx((1800 * 20 * 1.609344, 20 * 1.609344))
    assert stored_fit(ledger) is None  # learned on the other clock


def test_how_many_readings_make_a_baseline_reaches_judge_and_chart(ledger):
    with open_ledger(ledger) as con:
        rows = con.execute("SELECT * FROM visit_detail WHERE unit = '102' ORDER BY visited_on").df()
    rows["rpm"] = [6100.0, 6060.0, 6020.0, 5980.0, 5940.0]
    for count, band in ((2, (6060, 6100)), (3, (6020, 6100)), (4, (5980, 6100)), (5, None)):
        settings = DEFAULTS | {"baseline_visits": count}
        assert baseline_band(rows, "rpm", settings) == band
        assert judge(rows, settings)["baseline_count"].max() == min(count, 4)


def test_a_unit_without_an_interval_is_looked_ahead_5000_miles(ledger):
    """The list's horizon where nothing else is told: 5,000 miles (common practice, no source)."""
    with open_ledger(ledger, read_only=False) as con:
        con.execute("UPDATE vehicle SET pm_interval_km = NULL WHERE unit = '102'")
    ranked = rank(ledger).set_index("unit")
    assert ranked.loc["102", "horizon"] == pytest.approx(5000)
    assert ranked.loc["103", "horizon"] == pytest.approx(9000 / 1.609344)
