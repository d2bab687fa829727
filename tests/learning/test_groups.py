"""What depots add to the hazard: drawn toward 1, and not told from a depot that writes no failure down."""

from dataclasses import replace

import numpy as np
import pytest

from analytics.learning.fitting import fit_history
from analytics.learning.gaps import make_gaps
from analytics.learning.groups import learn_groups, on_the_books
from analytics.wear_model.exposure import exposure
from analytics.wear_model.failure_risk import Known
from analytics.wear_model.model import risk_model, run_filters
from demo_fleet.fleet import FleetSpec, simulate_fleet
from tests.fleet_frames import history_at


@pytest.fixture(scope="module")
def history():
    made = history_at(simulate_fleet(FleetSpec(vehicles=120, seed=77)))
    depot = np.where(np.arange(len(made.pumps)) % 3 == 0, "odd", "usual")
    return replace(made, pumps=made.pumps.assign(depot=depot, lot=None))


@pytest.fixture(scope="module")
def fitted(history):
    p = replace(fit_history(history).parameters, groups={})
    return p, make_gaps(history, run_filters(history, p, keep=True), p)


def only(gaps, keep):
    """Gaps whose failures are kept where `keep` (gaps,)."""
    return replace(gaps, failed=gaps.failed & keep)


def test_a_depot_with_fewer_failures_gets_a_lower_factor_but_not_its_own_ratio(history, fitted):
    p, gaps = fitted
    odd = (history.pumps["depot"] == "odd").to_numpy()[gaps.pump]
    half = ~odd | (np.arange(len(odd)) % 2 == 0)
    weight = np.ones(len(odd))
    as_is, thinned = (learn_groups(p, g, weight, history.pumps)["depot"] for g in (gaps, only(gaps, half)))
    assert 0.5 < thinned["odd"] / as_is["odd"] < 0.95
    assert as_is["usual"] == pytest.approx(1, abs=0.2)


def test_a_depot_that_writes_no_failure_down_is_left_out(history, fitted):
    p, gaps = fitted
    odd = (history.pumps["depot"] == "odd").to_numpy()[gaps.pump]
    weight = np.ones(len(odd))
    assert on_the_books(p, gaps, weight, history.pumps).min() > 0.98
    kept = on_the_books(p, only(gaps, ~odd), weight, history.pumps)
    assert kept[odd].max() < 0.02
    assert kept[~odd].min() > 0.98


def test_pumps_taken_off_for_no_reason_told_betray_a_small_depot(history, fitted):
    p, gaps = fitted
    few = (np.arange(len(history.pumps)) < 60) & (history.pumps["depot"] == "odd").to_numpy()
    pumps = history.pumps.assign(depot=np.where(few, "small", "usual"))
    small, weight = few[gaps.pump], np.ones(len(gaps.pump))
    silent = only(gaps, ~small)
    quiet = on_the_books(p, silent, weight, pumps)[small][0]
    failed = few & pumps["failed"].to_numpy()
    untold = pumps.assign(failed=pumps["failed"] & ~few, removal=pumps["removal"].mask(failed, "other"))
    assert on_the_books(p, silent, weight, untold)[small][0] < 0.2 * quiet
    good = untold.assign(found=untold["found"].mask(failed, "tested_good"))
    assert on_the_books(p, silent, weight, good)[small][0] == pytest.approx(quiet)


def test_the_factor_is_on_what_readings_do_not_show(history, fitted):
    p, _ = fitted
    known = Known.of_new(p.wear, p.drag, p.onsets, np.zeros(3, int), np.array([0.5, 1.0, 2.0]))
    model, d = risk_model(p), np.full(3, 8e3)
    told = model.log_survival(known, d)
    assert told.wear[0] == told.wear[2]
    assert told.sudden[2] == pytest.approx(4 * told.sudden[0])
    assert (np.diff(told.drag) > 0).all()
    np.testing.assert_allclose(model.unseen(known, d) / known.exposure, model.unseen(known, d)[1])


def test_exposure_is_the_product_and_a_new_pumps_lot_is_unknown(history):
    pumps = history.pumps.iloc[:2].assign(pump_type="T", lot=["L", None], **{"class": "van"})
    groups = {"depot": {"odd": 1.5}, "class": {"van": 0.8}, "lot": {"T/L": 2.0}}
    assert exposure(groups, pumps.assign(depot="odd")).tolist() == pytest.approx([2.4, 1.2])
    assert exposure(groups, pumps.assign(depot="new one"), new=True).tolist() == pytest.approx([0.8, 0.8])
