"""Pumps on stops: a case solved by hand, and every small case against trying all."""

from __future__ import annotations

import itertools

import numpy as np
import pandas as pd
import pytest

from analytics.scheduling.assignment import assign


def candidates(rows):
    columns = ["pump_id", "stop", "depot", "week", "pump_type", "hours", "cost", "shared_cost", "early"]
    return pd.DataFrame(rows, columns=columns)


def test_two_pumps_and_one_bay_by_hand():
    # Both would rather go in week 1 (10 and 20), the bay holds one. Waiting costs A 5 more, B 40 more:
    # so B goes first and A waits. 20 + 15 = 35; the other way round costs 10 + 60 = 70.
    offered = candidates(
        [
            (1, "A w1", "North", 1, "T", 3.0, 10.0, 0.0, False),
            (1, "A w2", "North", 2, "T", 3.0, 15.0, 0.0, False),
            (2, "B w1", "North", 1, "T", 3.0, 20.0, 0.0, False),
            (2, "B w2", "North", 2, "T", 3.0, 60.0, 0.0, False),
        ]
    )
    leaving = pd.Series({1: 1000.0, 2: 1000.0})
    found = assign(offered, leaving, {("North", 1): 4.0, ("North", 2): 4.0}, {})
    assert offered.loc[found.chosen[1], "stop"] == "A w2"
    assert offered.loc[found.chosen[2], "stop"] == "B w1"
    assert found.cost == pytest.approx(35.0)
    assert found.proven


def test_two_pumps_of_one_unit_share_a_stop():
    # Apart they cost 10 + 10; together in week 2 they cost 10 + 12 less 6 saved.
    offered = candidates(
        [
            (1, "U w1", "North", 1, "T", 2.0, 10.0, 6.0, False),
            (1, "U w2", "North", 2, "T", 2.0, 12.0, 6.0, False),
            (2, "U w2", "North", 2, "T", 2.0, 10.0, 6.0, False),
        ]
    )
    found = assign(offered, pd.Series({1: 99.0, 2: 99.0}), {("North", 2): 3.0}, {}, shared_share=0.5)
    assert list(offered.loc[found.chosen, "stop"]) == ["U w2", "U w2"]
    assert found.cost == pytest.approx(16.0)
    # With half an hour less they no longer fit together.
    found = assign(offered, pd.Series({1: 99.0, 2: 99.0}), {("North", 2): 2.9}, {}, shared_share=0.5)
    assert found.cost == pytest.approx(20.0)


def test_a_part_on_hand_goes_to_the_pump_that_can_least_wait():
    offered = candidates(
        [
            (1, "A w1", "North", 1, "T", 1.0, 10.0, 0.0, True),
            (2, "B w1", "North", 1, "T", 1.0, 10.0, 0.0, True),
        ]
    )
    found = assign(offered, pd.Series({1: 50.0, 2: 80.0}), {}, {("North", "T"): 1})
    assert found.unplaced == (1,)


def test_nothing_to_place():
    found = assign(candidates([]), pd.Series(dtype=float), {}, {})
    assert found.chosen.empty
    assert found.proven


@pytest.mark.parametrize("seed", range(12))
def test_no_small_case_has_a_cheaper_answer(seed):
    rng = np.random.default_rng(seed)
    rows = []
    for pump in range(4):
        unit = pump // 2  # two pumps a unit
        for week in range(3):
            rows.append(
                (pump, f"U{unit} w{week}", "North", week, "T", float(rng.integers(1, 4)),
                 float(rng.integers(1, 60)), float(4 + unit), bool(week == 0))
            )  # fmt: skip
    offered = candidates(rows)
    leaving = pd.Series(rng.integers(20, 90, 4).astype(float), index=range(4))
    free = {("North", w): float(rng.integers(1, 6)) for w in range(3)}
    found = assign(offered, leaving, free, {("North", "T"): 1}, shared_share=0.5)
    assert found.cost == pytest.approx(_cheapest(offered, leaving, free, 1), abs=1e-6)


def _cheapest(offered, leaving, free, on_hand):
    rows = offered.to_dict("records")
    # The shared half is counted for the largest job offered at a stop, taken or not.
    largest = offered.groupby("stop")["hours"].max().to_dict()
    choices = [[None, *(r for r in rows if r["pump_id"] == p)] for p in leaving.index]
    best = np.inf
    for picks in itertools.product(*choices):
        taken = [r for r in picks if r is not None]
        cost = sum(r["cost"] for r in taken)
        cost += sum(leaving[p] for p, r in zip(leaving.index, picks, strict=True) if r is None)
        hours = dict.fromkeys(free, 0.0)
        for stop in {r["stop"] for r in taken}:
            here = [r for r in taken if r["stop"] == stop]
            cost -= here[0]["shared_cost"] * (len(here) - 1)
            hours["North", here[0]["week"]] += 0.5 * sum(r["hours"] for r in here) + 0.5 * largest[stop]
        if sum(r["early"] for r in taken) <= on_hand and all(hours[k] <= free[k] + 1e-9 for k in free):
            best = min(best, cost)
    return best
