"""Whatever is dated after a day changes nothing that is said as of that day: forgotten, or made absurd.

Three ledgers hold the same records up to the day. One goes on as it was, one ends there, and in one all that
comes later is absurd, down to fits stored, prices, decisions and a new odometer.
"""

import shutil
from datetime import date

import numpy as np
import pandas as pd
import pytest

from analytics.learning.fitting import fit, stored_fit
from analytics.money.cost_book import cost_book
from analytics.past.history import load_history
from analytics.past.lots import early_failures
from analytics.record.backtest import _forecast, backtest, cutoff_days
from analytics.risk.forecast import score
from analytics.risk.ranking import rank
from demo_fleet.dirt import Dirt
from demo_fleet.fleet import simulate_fleet
from demo_fleet.fleet_pumps import FleetSpec
from ingest.ledger.connection import open_ledger
from tests.fleet_ledger import load_fleet

DATED = {"visit": "visited_on", "service": "done_on", "breakdown": "happened_on", "odometer": "read_on"}


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    fleet = simulate_fleet(
        FleetSpec(vehicles=25, seed=78, years=4, dirt=Dirt.usual(), removed_on_condition=0.2)
    )
    ledger = load_fleet(fleet, tmp_path_factory.mktemp("whole"))
    with open_ledger(ledger, read_only=False) as con:  # odometers read at the gate, the day after each visit
        con.execute(
            "INSERT INTO odometer (unit, read_on, odometer_km, recorded_at)"
            " SELECT unit, visited_on + 1, odometer_km + 40, recorded_at FROM visit WHERE in_trend"
        )
    fit(ledger)  # learned from everything: must not serve a day before its data end
    return ledger


@pytest.fixture(scope="module")
def day(whole):
    return cutoff_days(load_history(whole), 1)[0]


def changed(ledger, folder, statements, day):
    """A copy of the ledger with statements run on it, `$day` being the day."""
    out = folder / "ledger.duckdb"
    shutil.copyfile(ledger, out)
    with open_ledger(out, read_only=False) as con:
        for statement in statements:
            con.execute(statement, {"day": day} if "$day" in statement else None)
    return out


@pytest.fixture(scope="module")
def forgotten(whole, day, tmp_path_factory):
    later = "(SELECT visit_id FROM visit WHERE visited_on > $day)"
    statements = [
        f"DELETE FROM reading WHERE visit_id IN {later}",
        *(f"DELETE FROM {table} WHERE {column} > $day" for table, column in DATED.items()),
        "DELETE FROM pump WHERE fitted_on > $day",
        # fitted on a day nobody knows, but after a pump that was removed later
        "DELETE FROM pump WHERE fitted_on IS NULL AND pump_id NOT IN (SELECT pump_id FROM visit)"
        " AND unit IN (SELECT p.unit FROM pump p WHERE p.removed_on > $day AND p.pump_id <> pump.pump_id)",
        "UPDATE pump SET removed_on = NULL, removed_odometer_km = NULL, removal = NULL, found = NULL,"
        " cost = NULL WHERE removed_on > $day",
        "DELETE FROM fit",
        "DELETE FROM question",
    ]
    return changed(whole, tmp_path_factory.mktemp("forgotten"), statements, day)


@pytest.fixture(scope="module")
def absurd(whole, day, tmp_path_factory):
    statements = [
        "UPDATE reading SET mean_a = 77, ripple_pct = 99, rpm = 12 WHERE visit_id IN"
        " (SELECT visit_id FROM visit WHERE visited_on > $day)",
        "UPDATE visit SET odometer_km = 5e6, supply_v = 6 WHERE visited_on > $day",
        "UPDATE service SET work = 'filter', odometer_km = 1 WHERE done_on > $day",
        "UPDATE pump SET removal = 'failed', found = 'worn', removed_odometer_km = 4e6"
        " WHERE removed_on > $day",
        "UPDATE pump SET lot = 'bad', pump_type = 'K-2201' WHERE fitted_on > $day",
        "INSERT INTO odometer (unit, read_on, odometer_km, source, recorded_at)"
        " SELECT unit, $day + 30, 3, 'cluster-replaced', now()::TIMESTAMP FROM vehicle",
        "INSERT INTO cost_entry (cost_id, element, amount, valid_from, recorded_at)"
        " VALUES (900, 'failure_replacement', 1e6, $day + 1, now()::TIMESTAMP)",
        "INSERT INTO setting (setting_id, key, value, valid_from, recorded_at)"
        " VALUES (900, 'ripple_limit_pct', '3', $day + 1, now()::TIMESTAMP)",
        "INSERT INTO booking (booking_id, pump_id, status, decided_at, recorded_at)"
        " SELECT 900 + pump_id, pump_id, 'booked', $day + INTERVAL 2 DAY, now()::TIMESTAMP FROM pump",
    ]
    return changed(whole, tmp_path_factory.mktemp("absurd"), statements, day)


@pytest.fixture(scope="module")
def said(whole, forgotten, absurd, day):
    """What each ledger says as of the day: its list, the fit stored for it, and the past it rests on."""
    ledgers = {"whole": whole, "forgotten": forgotten, "absurd": absurd}
    lists = {name: rank(ledger, as_of=day) for name, ledger in ledgers.items()}
    return {
        name: (lists[name], stored_fit(ledger, day), load_history(ledger, day))
        for name, ledger in ledgers.items()
    }


@pytest.mark.parametrize("other", ["forgotten", "absurd"])
def test_the_list_of_a_past_day_is_the_same(said, other):
    assert len(said["whole"][0]) > 20
    pd.testing.assert_frame_equal(said["whole"][0], said[other][0])


@pytest.mark.parametrize("other", ["forgotten", "absurd"])
def test_so_are_the_fit_the_lines_and_the_lots(said, day, other):
    (_, a, past_a), (_, b, past_b) = said["whole"], said[other]
    assert a.data_until == b.data_until == day
    assert a.parameters.to_json() == b.parameters.to_json()
    assert [f and f.to_plain() for f in a.drift.values()] == [f and f.to_plain() for f in b.drift.values()]
    pd.testing.assert_frame_equal(early_failures(past_a), early_failures(past_b))


def todays_prices(ledger, history):
    with open_ledger(ledger) as connection:
        return cost_book(connection, max(date.today(), history.as_of))


def test_a_look_back_forecasts_from_what_a_ledger_that_ends_there_holds(said, whole, day):
    made = backtest(whole, cutoffs=1)
    assert made.cutoffs == (day,)
    _, learned, past = said["forgotten"]
    everything = load_history(whole)
    again = _forecast(score(past, learned), everything, todays_prices(whole, everything))
    pd.testing.assert_frame_equal(made.forecasts, again)
    assert made.forecasts["failed_later"].any()


def test_the_later_facts_would_have_told(whole, day):
    """The test above could fail: a fit that has seen them says something else."""
    past = load_history(whole, day)
    late, early = stored_fit(whole), stored_fit(whole, day)
    assert late.data_until > day
    book = todays_prices(whole, past)
    risks = [_forecast(score(past, learned), past, book)["risk"] for learned in (late, early)]
    assert not np.allclose(*risks)
