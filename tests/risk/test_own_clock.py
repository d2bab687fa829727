"""A pump that shares its unit's distance is weighed on what it runs itself."""

from datetime import date

import pandas as pd
import pytest

from analytics.risk.deciding import ahead_of
from ingest.trade_numbers import DEFAULTS


def test_the_decision_counts_the_pumps_own_km():
    """Two pumps of one unit that drives 100 km a day: one runs all of it, the other a quarter."""
    today = date(2026, 3, 2)
    pumps = pd.DataFrame(
        {"km_per_day": 100.0, "pump_km_per_day": [100.0, 25.0], "pm_days": 80.0,
         "next_stop_on": date(2026, 3, 22), "retires_on": date(2027, 3, 2),
         "last_visited_on": date(2026, 1, 1)}
    )  # fmt: skip
    ahead = ahead_of(pumps, DEFAULTS, today, today)
    assert ahead.to_stop_km.tolist() == pytest.approx([2000, 500])
    assert ahead.interval_km.tolist() == pytest.approx([8000, 2000])
    assert ahead.to_extra_km[0] == pytest.approx(4 * ahead.to_extra_km[1])
    assert ahead.last_km.tolist() == pytest.approx([36_500, 9125])
