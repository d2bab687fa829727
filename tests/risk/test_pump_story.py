"""One pump's damages, visit by visit, are those that the ranking of the whole fleet rests on."""

import shutil
from datetime import date

import numpy as np
import pandas as pd
import pytest

from analytics.learning.fitting import stored_fit
from analytics.past.history import load_history
from analytics.risk.forecast import score, state_on
from analytics.risk.pump_drift import history_of_unit
from analytics.risk.pump_story import pump_story
from analytics.risk.ranking import decided_facts, facts_of
from analytics.wear_model.model import risk_model
from ingest.ledger.connection import open_ledger
from tests.ledger_fixture import LAST_VISIT, UNITS, build_ledger


@pytest.fixture(scope="module")
def ledger(tmp_path_factory):
    return build_ledger(tmp_path_factory.mktemp("story") / "fleet.duckdb", fitted=True)


def test_the_last_state_is_that_of_the_ranking(ledger):
    as_of = date(2026, 1, 1)
    state = state_on(ledger, as_of)
    parameters = state.fit.parameters
    pumps = state.history.pumps["pump_id"].to_numpy()[state.rows]
    for place, pump_id in enumerate(pumps[:3]):
        told = pump_story(ledger, int(pump_id), as_of, np.array([0.0, 9000.0]))
        assert told is not None
        last = told.visits.groupby("damage").tail(1).set_index("damage")
        chance = risk_model(parameters).p_started(state.known)["drag"]
        drag = state.known.drag._replace(started=chance)
        assert last.loc["drag", "chance"] == pytest.approx(drag.started[place])
        assert last.loc["drag", "value"] == pytest.approx(
            drag.shown[place] / parameters.failure.drag_level, abs=1e-12
        )
        # What lies ahead begins where the last reading left it, and its range only widens.
        ahead = told.ahead[told.ahead["damage"] == "drag"]
        assert ahead["value"].iloc[0] == pytest.approx(last.loc["drag", "value"], abs=1e-12)
        assert (ahead["high"] - ahead["low"]).is_monotonic_increasing


def test_what_is_decided_in_the_bay_is_what_the_list_says_of_the_same_facts(ledger, tmp_path):
    """A unit alone doesn't know how far others of its class drive, nor what their readings did together."""
    own = shutil.copyfile(ledger, tmp_path / "fleet.duckdb")
    with open_ledger(own, read_only=False) as connection:
        connection.execute(
            "UPDATE visit SET odometer_km = 99000 + (odometer_km - 99000) * (pump_id % 4 + 1) / 3"
        )
    fit, fleet = stored_fit(own), load_history(own, LAST_VISIT)
    listed = decided(own, fleet, fit)
    assert len(listed) == len(UNITS)
    for pump_id in listed.index[:2]:
        alone = decided(own, history_of_unit(own, int(pump_id), LAST_VISIT), fit)
        pd.testing.assert_series_equal(alone.loc[pump_id], listed.loc[pump_id], check_exact=False, rtol=1e-9)


def decided(ledger, history, fit):
    """What the list says of a history's pumps in service, by pump_id."""
    with open_ledger(ledger) as connection:
        facts = facts_of(connection, history, LAST_VISIT, LAST_VISIT)
    rows, _ = decided_facts(facts, score(history, fit))
    same = ["job", "at", "asked_first", "action", "risk", "risk_to_next_stop", "p_change", "saving"]
    return rows.set_index("pump_id")[[*same, "finding", "km_per_day", "next_stop_on", "planned_on"]]


def test_the_pump_that_worsens_is_shown_to(ledger):
    worst = {}
    for pump_id in (1, 2):
        told = pump_story(ledger, pump_id, date(2026, 1, 1), np.array([0.0]))
        assert told is not None
        worst[pump_id] = told.visits.pivot(index="x_km", columns="damage", values="value").max(axis=1)
    assert worst[1].is_monotonic_increasing
    assert worst[1].iloc[-1] > worst[2].iloc[-1]


def test_nothing_is_told_before_anything_was_learned(tmp_path):
    assert pump_story(build_ledger(tmp_path / "fleet.duckdb"), 1, date(2026, 1, 1), np.array([0.0])) is None
