"""The second world keeps its promises: same luck for every policy, no look-ahead, a folder that loads."""

import json

import numpy as np
import pandas as pd
import pytest

from dashboard.cli import main
from tests.benchmarks.second_world import build, write_folder
from tests.benchmarks.second_world.informed import Informed
from tests.benchmarks.second_world.summary import area
from tests.benchmarks.second_world.truth import (
    all_lives,
    all_seeing_orders,
    at_visits,
    end_credit,
    foresight_orders,
    truth,
)


@pytest.fixture(scope="module")
def world():
    return build(11, "standard", 120)


@pytest.fixture(scope="module")
def run(world):
    return world.start()


def _of(frame, units, inside):
    return frame[frame["unit"].isin(units) == inside].reset_index(drop=True)


def test_a_policy_leaves_the_luck_of_other_units_alone(world):
    plain, busy = world.start(), world.start()
    touched = list(world.fleet.names[:10])
    day = world.history_days
    orders = [{"unit": unit, "day": day + 20, "job": "change", "own_stop": True} for unit in touched]
    plain.step(day + 500)
    busy.step(day + 500, orders)
    for name in ("pumps", "visits", "services", "breakdowns"):
        one, other = plain.tables()[name], busy.tables()[name]
        pd.testing.assert_frame_equal(_of(one, touched, False), _of(other, touched, False))
    assert not _of(plain.tables()["pumps"], touched, True).equals(_of(busy.tables()["pumps"], touched, True))


def test_small_steps_and_holding_change_nothing(world):
    once, often = world.start(), world.start()
    once.step(world.history_days + 200)
    while often.today < world.history_days + 200:
        often.step(often.today + 5, hold=True)
    often.step(world.history_days + 200)
    for name, frame in once.tables().items():
        pd.testing.assert_frame_equal(frame, often.tables()[name])


def test_tables_hold_only_what_was_recorded_by_then(world, run):
    early = world.history_days - 300
    then, later = world.start(early).tables(), run.tables(early)
    for name, frame in then.items():
        pd.testing.assert_frame_equal(frame, later[name])
    assert run.tables(early)["visits"]["visited_on"].max() <= pd.Timestamp(world.date(early))


def test_new_rows_add_up_to_all_rows(world, run):
    day = world.history_days
    parts = [run.tables(day - 30)["visits"], run.tables(day, since=day - 30)["visits"]]
    both = pd.concat(parts).sort_values("ref", ignore_index=True)
    pd.testing.assert_frame_equal(both, run.tables()["visits"].sort_values("ref", ignore_index=True))


def test_a_pump_fails_when_it_was_to_fail_if_left_alone(world):
    run = world.start()
    told = truth(run)
    run.step(world.history_days + 400)
    lives = all_lives(run).set_index(["unit", "pump"])
    retires = dict(zip(world.fleet.names, world.fleet.retires, strict=True))
    failed = 0
    for row in told.itertuples():
        life = lives.loc[(row.unit, row.pump)]
        if life["end"] == "failed" and life["removed_day"] < row.fail_day:
            continue  # the pump was blamed for a cause beside it
        if row.fail_day <= min(world.history_days + 400, retires[row.unit] - 1):
            assert life["removed_day"] == row.fail_day
            failed += 1
    assert failed > 10


def test_a_job_in_the_bay_is_done_the_same_day_and_paid(world):
    run = world.start()
    step = run.step(run.today + 7, hold=True)
    unit, day = step.stops.loc[0, ["unit", "day"]]
    done = run.step(run.today + 7, [{"unit": unit, "day": day, "job": "change"}], hold=True)
    paid = done.money[done.money["unit"] == unit]
    assert paid[["day", "what", "amount"]].to_numpy().tolist() == [[day, "planned change", 650.0]]
    assert done.unmet.empty


def test_an_extra_stop_costs_and_a_check_names_or_clears(world):
    run = world.start()
    units = [name for name in world.fleet.names if name in set(truth(run)["unit"])][:40]
    orders = [{"unit": u, "day": run.today + 3, "job": "check", "own_stop": True} for u in units]
    step = run.step(run.today + 3, orders)
    assert (step.money["what"] == "extra stop").sum() == len(units) - len(step.unmet)
    visits = run.tables(run.today + 20)["visits"]
    checks = visits[
        (visits["reason"] == "follow-up") & (visits["visited_on"] == pd.Timestamp(world.date(run.today)))
    ]
    assert checks["check_result"].notna().all()
    assert checks["mean_a"].notna().all()


@pytest.mark.parametrize(
    ("kind", "low", "high"), [("standard", 0.14, 0.3), ("long-lived", 0.03, 0.1), ("bad-lot", 0.1, 0.28)]
)
def test_failure_rates_and_hardness_of_each_kind(kind, low, high):
    world = build(3, kind, 300)
    run = world.start()
    events = run.log.frame("events", world.fleet)
    years = (world.history_days - np.maximum(world.fleet.in_service, 0)).clip(0).sum() / 365.25
    assert low < (events["what"] == "failure").sum() / years < high
    seen = at_visits(run)
    assert 0.86 < area(seen["fails"].to_numpy(), seen["risk"].to_numpy()) < 0.95
    assert 0.8 < seen["risk"].mean() / seen["fails"].mean() < 1.25


@pytest.mark.parametrize("asked", [0.3, 0.5])
def test_causes_beside_the_pump_bring_the_asked_share(asked):
    run = build(4, "standard", 400, beside=asked).start()
    odd = at_visits(run).query("got and abnormal")
    assert odd["beside"].mean() == pytest.approx(asked, abs=0.09)


def test_owners_who_see_more_pay_less():
    world, totals = build(12, "standard", 80), []
    for owner in (lambda run: [], all_seeing_orders, foresight_orders):
        run, orders = world.start(), []
        while run.today < world.end_day:
            run.step(min(run.today + 30, world.end_day), orders, hold=True)
            orders = owner(run)
        money = run.money()
        totals.append(
            money.loc[money["day"] > world.history_days, "amount"].sum() - end_credit(run)["credit"].sum()
        )
    assert totals[0] > totals[1] > totals[2]


def test_the_folder_loads(tmp_path, capsys):
    world = build(5, "standard", 15)
    folder = write_folder(world.start().tables(), tmp_path / "fleet")
    ledger = str(tmp_path / "x.duckdb")
    assert main(["--ledger", ledger, "load", str(folder), "--json"]) == 0
    report = json.loads(capsys.readouterr().out)
    assert not report.get("refused"), report["refused"][:3]
    assert main(["--ledger", ledger, "rank", "--json", "--as-of", str(world.date(world.history_days))]) == 0
    units = {row["unit"] for row in json.loads(capsys.readouterr().out)}
    in_service = set(truth(world.start())["unit"])
    assert units >= in_service


def test_who_knows_the_laws_forecasts_from_the_records_alone():
    world = build(13, "standard", 150)
    run = world.start()
    observer = Informed(world, particles=200)
    now = observer.forecast(run)
    assert set(now["unit"]) == set(truth(run)["unit"])
    seen = at_visits(run).merge(observer.told(), on=["u", "day"], suffixes=("", "_told"))
    fails = seen["fails"].to_numpy()
    informed = area(fails, seen["risk_told"].to_numpy())
    assert 0.68 < informed < area(fails, seen["risk"].to_numpy())
    assert 0.7 < seen["risk_told"].mean() / fails.mean() < 1.4
    again = Informed(world, particles=200).forecast(run)
    pd.testing.assert_frame_equal(now, again)
