"""A metric is one row: with it come a line, a limit, a chart and its place in the table of figures."""

import pandas as pd
import pytest

from analytics.learning.fitting import fit_history, store_fit, stored_fit
from analytics.past.history import load_history
from analytics.risk.pump_drift import pump_drift
from dashboard.parts.reading_panel import comparison
from dashboard.views.pump_history.metrics import drift_words, limits_of, placed
from ingest import metrics
from ingest.ledger.connection import open_ledger
from ingest.metrics import Metric
from ingest.trade_numbers import DEFAULTS
from tests.ledger_fixture import LAST_VISIT, build_ledger
from tests.pages.page_runs import open_page, words

FUEL = Metric("fuel_temp_c", "fuel temperature", "°C", 1, trends=True, scatter=0.5)


@pytest.fixture
def ledger(tmp_path, monkeypatch):
    """The small fleet, its fuel warmer by 1.5 deg C from visit to visit, and the row added."""
    monkeypatch.setattr(metrics, "METRICS", (*metrics.METRICS, FUEL))
    path = build_ledger(tmp_path / "fleet.duckdb")
    with open_ledger(path, read_only=False) as con:
        con.execute("UPDATE visit SET fuel_temp_c = 20 + 1.5 * (odometer_km - 99000) / 9000 + pump_id / 10.0")
    monkeypatch.setenv("PUMPLEDGER", str(path))
    return path


def test_one_row_brings_line_chart_and_table(ledger):
    made = store_fit(ledger, fit_history(load_history(ledger)))
    assert stored_fit(ledger).drift["fuel_temp_c"].line == pytest.approx(made.drift["fuel_temp_c"].line)
    found = pump_drift(ledger, 2, LAST_VISIT)
    # 1.5 deg C in 9,000 km, told without any noise
    assert found.drift["fuel_temp_c"].slope[0] == pytest.approx(1.5 / 9000, rel=0.02)
    assert found.drift["fuel_temp_c"].level[0] == pytest.approx(20 + 1.5 * 4 + 0.2, abs=0.2)
    with open_ledger(ledger) as con:
        visits = con.execute("SELECT * FROM visit_detail WHERE pump_id = 2 ORDER BY visited_on").df()
    visits = visits.assign(mean_a_accuracy_a=None)
    _, axis = placed(visits, DEFAULTS | {"distance_unit": "km"})
    assert drift_words(found.drift["fuel_temp_c"], FUEL, axis).startswith("fuel temperature: +1.67 ± 0.")
    assert limits_of(visits.iloc[0], FUEL, DEFAULTS) == {}
    table = comparison(visits.iloc[-1], {}, visits.iloc[:-1], 15).set_index("Figure")
    assert table.loc["Fuel temperature"].tolist()[:2] == ["26.2 °C", "–"]
    assert table.loc["Fuel temperature"].tolist()[2:] == ["24.7 °C", "20.2 °C"]
    page = open_page("pump_history", pump="2")
    page.session_state["slow_drift"] = True  # drawn once its fold is opened
    text = words(page.run())
    assert "fuel temperature: +" in text
    assert "average current: " in text


def test_every_metric_and_its_error_stand_in_a_visits_row(ledger):
    with open_ledger(ledger) as con:
        kept = set(con.table("visit_detail").columns)
    named = {name for m in metrics.METRICS for name in (m.name, m.error) if name}
    assert named - kept == set(), "add them to visit_rows by a migration"


def test_limits_of_a_metric_are_its_types_else_the_fleets(ledger):
    pump = pd.Series({"rpm_low": None, "rpm_high": 9000.0})
    found = limits_of(pump, metrics.metric("rpm"), DEFAULTS | {"rpm_low": 3300.0})
    assert found == {"low speed limit": 3300, "high speed limit": 9000}
