"""Planned stops: whichever of distance, days or hours comes first."""

from __future__ import annotations

from datetime import date

import pandas as pd
import pytest

from analytics.risk.visits_ahead import planned_visits
from ingest.trade_numbers import DEFAULTS

AS_OF = date(2026, 3, 2)


def unit(**given):
    usual = {"unit": "7", "last_pm_on": date(2026, 2, 2), "km_per_day": 100.0, "pm_interval_km": 9000.0,
             "pm_interval_days": 180, "pm_interval_hours": None, "hours_per_day": None}  # fmt: skip
    return pd.DataFrame([usual | given])


def stops(vehicles, days=120):
    return planned_visits(vehicles, AS_OF, days, DEFAULTS)


@pytest.mark.parametrize(
    ("given", "why", "first"),
    [
        ({}, "distance", date(2026, 5, 4)),  # 90 days after 2 February is Sunday 3 May
        ({"pm_interval_days": 60}, "days", date(2026, 4, 3)),
        (
            {"pm_interval_hours": 200.0, "hours_per_day": 5.0},
            "hours",
            date(2026, 3, 16),
        ),  # 40 days: a Saturday
    ],
)
def test_whichever_comes_first(given, why, first):
    made = stops(unit(**given))
    assert made["due_by"].iloc[0] == why
    assert made["planned_on"].iloc[0].date() == first


def test_stops_repeat_up_to_the_horizon():
    made = stops(unit(pm_interval_days=30), days=100)
    assert made["stop"].tolist() == [1, 2, 3, 4]
    assert (made["planned_on"].dt.day_of_week < 5).all()


def test_a_stop_beyond_the_horizon_is_still_named():
    assert len(stops(unit(pm_interval_km=None, pm_interval_days=365), days=30)) == 1


def test_an_overdue_unit_comes_within_a_week():
    made = stops(unit(last_pm_on=date(2025, 1, 1)))
    assert made["overdue"].iloc[0]
    assert made["planned_on"].iloc[0].date() == date(2026, 3, 9)


def test_without_any_record_half_an_interval():
    made = stops(unit(last_pm_on=None, pm_interval_km=None, pm_interval_days=60))
    assert made["planned_on"].iloc[0].date() == date(2026, 4, 1)


def test_without_any_interval_the_default():
    made = stops(unit(pm_interval_km=None, pm_interval_days=None), days=400)
    assert (made["planned_on"].iloc[1] - made["planned_on"].iloc[0]).days in (182, 183, 184, 185)


def test_an_interval_of_nothing_is_none_and_stops_no_other_unit():
    told = {"pm_interval_km": None, "pm_interval_days": 60.0}
    both = pd.concat([unit(pm_interval_km=0.0, pm_interval_days=60.0), unit(**told).assign(unit="8")])
    made = stops(both, days=300)
    of = {name: part["planned_on"].tolist() for name, part in made.groupby("unit")}
    assert of["7"] == of["8"]
    assert len(of["7"]) > 2


def test_no_units():
    assert stops(unit().iloc[:0]).empty
