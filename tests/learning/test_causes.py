"""What a strip-down showed is learned from, and counts as confirmed: worn, seized and electrical alike."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analytics.learning.failure import cause_factors, gap_hazards
from analytics.learning.fitting import fit_history
from analytics.learning.gaps import FOUND, make_gaps
from analytics.record.hindsight import acted_on
from analytics.wear_model.model import run_filters
from demo_fleet.fleet import simulate_fleet
from demo_fleet.fleet_pumps import FleetSpec
from tests.fleet_frames import history_at


@pytest.fixture(scope="module")
def history():
    return history_at(simulate_fleet(FleetSpec(vehicles=40, seed=12)))


@pytest.fixture(scope="module")
def made(history):
    """The same lives and readings thrice: only what was found differs."""
    return {found: fit_history(with_findings(history, found)).parameters for found in FOUND}


def with_findings(history, found):
    pumps = history.pumps.copy()
    pumps.loc[pumps["failed"], "found"] = found
    return replace(history, pumps=pumps)


def test_each_gap_that_ended_in_failure_knows_what_was_found(history, made):
    failed = np.flatnonzero(history.pumps["failed"])
    names = np.resize(np.array([*FOUND, "not_examined"], dtype=object), len(failed))
    told = with_findings(history, names)
    p = made["worn"]
    gaps = make_gaps(told, run_filters(told, p, keep=True), p)
    by_pump = dict(zip(gaps.pump[gaps.failed], gaps.found[gaps.failed], strict=True))
    rows = {"worn": 0, "seized": 1, "electrical": 2, "not_examined": -1}
    assert by_pump == {pump: rows[name] for pump, name in zip(failed, names, strict=True)}
    assert (gaps.found[~gaps.failed] == -1).all()


def test_strip_downs_move_what_is_learned_of_each_cause(made):
    """Each finding makes its cause commoner."""
    wear = {found: p.failure.wear_level.mean() for found, p in made.items()}
    starts = {found: p.drag.starts.mean() for found, p in made.items()}
    sudden = {found: p.failure.sudden_per_km.mean() for found, p in made.items()}
    assert min(wear, key=wear.get) == "worn"  # worn out at less wear
    assert max(starts, key=starts.get) == "seized"
    assert max(sudden, key=sudden.get) == "electrical"


def test_all_causes_together_follow_the_fleet(history, made):
    """With a third of the failures every cause's hazard falls below half, rare causes' too."""
    p = made["worn"]
    gaps = make_gaps(history, run_filters(history, p, keep=True), p)
    expected = gap_hazards(p, gaps)
    third = replace(gaps, failed=gaps.failed & (np.cumsum(gaps.failed) % 3 == 0))
    seen = expected._replace(at_failure=expected.at_failure[:, third.failed[gaps.failed]])
    weight, types = np.ones(len(gaps.pump)), len(p.types)
    all_of, few = (cause_factors(h, g, weight, types) for h, g in ((expected, gaps), (seen, third)))
    ratio = np.array([few[name].mean() / all_of[name].mean() for name in few])
    assert ratio.max() < 0.5


def test_confirmed_are_all_three_and_no_others(history):
    found = ["worn", "seized", "electrical", "tested_good", "not_examined", None]
    pumps = pd.DataFrame({"removal": "on_condition", "found": found})
    counted = acted_on(replace(history, pumps=pumps), pd.DataFrame())
    assert counted["taken_off_on_condition"] == 6
    assert counted["confirmed_on_strip_down"] == 3
    assert counted["tested_good"] == 1
    assert counted["not_examined"] == 2
