"""Ranking goes through the ledger, never looks ahead, and says what it rests on."""

import json
import shutil
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest
from pandas.testing import assert_frame_equal

from analytics.learning.fitting import stored_fit
from analytics.risk.forecast import forecast
from analytics.risk.ranking import rank, ripple_heals
from analytics.risk.rests_on import alike
from analytics.scheduling.leftovers import waiting
from analytics.trend.drift import Drift
from analytics.wear_model.failure_risk import CAUSES
from dashboard.cli import main
from dashboard.commands.rank import JSON_FIELDS, SHOWN, as_lines
from dashboard.data.queries import last_fact
from dashboard.parts.risk_list import to_act_on
from dashboard.words.fixed_table import WIDTH
from demo_fleet.dirt import Dirt
from demo_fleet.fleet import simulate_fleet
from demo_fleet.fleet_pumps import FleetSpec
from ingest.ledger.connection import open_ledger
from tests.fleet_ledger import known_by, load_fleet
from tests.ledger_fixture import LAST_VISIT, build_ledger

DAY = date(2025, 3, 31)
SPEC = FleetSpec(vehicles=40, seed=77, years=4)


@pytest.fixture(scope="module")
def fleet():
    return simulate_fleet(SPEC)


@pytest.fixture(scope="module")
def ledger(fleet, tmp_path_factory):
    return load_fleet(fleet, tmp_path_factory.mktemp("full"))


@pytest.fixture(scope="module")
def table(ledger):
    return rank(ledger, as_of=DAY, within_km=8000)


def test_every_pump_in_service_on_the_day_is_listed_once(fleet, table):
    pumps = fleet.tables["pumps"]
    fitted, removed = pd.to_datetime(pumps["fitted_on"]), pd.to_datetime(pumps["removed_on"])
    day = pd.Timestamp(DAY)
    assert sorted(table["unit"]) == sorted(pumps[(fitted <= day) & ~(removed <= day)]["unit"])


def test_later_facts_change_nothing(fleet, table, tmp_path):
    past = load_fleet(known_by(fleet, DAY.isoformat()), tmp_path)
    again = rank(past, as_of=DAY, within_km=8000)
    both = table.merge(again, on="unit", suffixes=("", "_past"))
    assert len(both) == len(table)
    np.testing.assert_allclose(both["risk"], both["risk_past"], rtol=1e-6)
    np.testing.assert_allclose(both["distance_left_p50"], both["distance_left_p50_past"], rtol=1e-6)


def test_riskier_pumps_come_first_and_failed_sooner(fleet, table):
    assert table["risk"].is_monotonic_decreasing
    assert table["risk"].between(0, 1).all()
    lives = fleet.true_lives.merge(
        pd.DataFrame({"vehicle": range(SPEC.vehicles), "unit": fleet.tables["vehicles"]["unit"]})
    )
    mine = table.merge(lives, on="unit")
    day = (
        pd.Timestamp(DAY)
        - pd.to_datetime(mine["unit"].map(fleet.tables["vehicles"].set_index("unit")["in_service_on"]))
    ).dt.days
    in_place = (mine["fitted_day"] <= day) & (mine["removed_day"] > day)
    mine = mine[in_place]
    left = mine["true_fails_at_km"] - mine["distance_on_pump_km"]
    third = len(mine) // 3
    assert left.iloc[:third].median() < 0.6 * left.iloc[third:].median()


def test_parts_and_points_add_up(table):
    parts = table[[f"risk_{cause}" for cause in CAUSES]].sum(axis=1)
    np.testing.assert_allclose(parts, 100 * table["risk"], atol=1e-6)


def test_distances_are_in_order_and_risk_agrees_with_them(table):
    p10, p50, p90 = (table[f"distance_left_p{k}"] for k in (10, 50, 90))
    assert ((p10 <= p50) & (p50 <= p90)).all()
    horizon = table["horizon"]
    assert ((table["risk"] > 0.1) == (p10 < horizon)).mean() > 0.97


def test_forecast_survival_agrees_with_rank(ledger, table):
    made = forecast(ledger, as_of=DAY, grid_km=np.array([0.0, 4000, 8000, 50e3]))
    assert (np.diff(made.survival, axis=1) <= 1e-12).all()
    assert (made.survival[:, 0] == 1).all()
    risk = table.set_index("pump_id")["risk"].reindex(made.pump_id)
    np.testing.assert_allclose(1 - made.survival[:, 2], risk, atol=1e-9)
    assert made.new_pump_survival.shape == made.survival.shape


def test_second_ranking_uses_the_stored_fit(ledger, table):
    first = stored_fit(ledger, DAY)
    assert first is not None
    assert first.data_until == DAY
    rank(ledger, as_of=DAY)
    assert stored_fit(ledger, DAY).fit_id == first.fit_id


def test_command_prints_the_promised_fields(ledger, capsys):
    assert (
        main(["rank", "--ledger", str(ledger), "--as-of", DAY.isoformat(), "--within", "5000 mi", "--json"])
        == 0
    )
    rows = json.loads(capsys.readouterr().out)
    assert set(rows[0]) == set(JSON_FIELDS)
    assert rows[0]["horizon"] == pytest.approx(5000)
    assert rows[0]["horizon_unit"] == "mi"
    assert main(["rank", "--ledger", str(ledger), "--within", "5000"]) == 1
    assert "unit" in capsys.readouterr().err


def test_reason_is_in_the_fleets_unit_and_says_how_many(table):
    reasons = table["reason"]
    assert reasons.str.contains(" mi ").all()
    assert reasons.str.contains("past readings rated like this").mean() > 0.9


def test_bare_fleet_without_covariates_readings_or_failures(tmp_path):
    """Three units, one never read, no failure: trade experience, said so."""
    fleet = simulate_fleet(FleetSpec(vehicles=3, seed=4, years=1, removed_on_condition=0))
    pumps = fleet.tables["pumps"].groupby("unit").tail(1)
    pumps = pumps[pumps["removal"] != "failed"]
    visits = fleet.tables["visits"]
    visits = visits[visits["unit"] != pumps["unit"].iloc[0]]
    tables = {
        "vehicles": fleet.tables["vehicles"],
        "pump_types": fleet.tables["pump_types"],
        "pumps": pumps,
        "visits": visits,
    }
    from dataclasses import replace

    drop = {"visits": ["supply_v", "fuel_pressure_kpa", "fuel_temp_c", "fuel_level_pct", "serial", "state"],
            "vehicles": ["class", "depot", "pm_interval", "records_from"],
            "pump_types": ["segments", "rated_pressure_kpa", "filter"]}  # fmt: skip
    found = rank(load_fleet(replace(fleet, tables=tables), tmp_path, drop=drop))
    assert len(found) == len(pumps)
    never = found[found["unit"] == pumps["unit"].iloc[0]].iloc[0]
    assert never["visits"] == 0
    assert "No reading yet" in never["reason"]
    assert found["reason"].str.contains("trade experience").all()
    assert found["risk"].between(1e-5, 0.9).all()


def test_dirt_does_not_stop_the_ranking(tmp_path):
    spec = FleetSpec(vehicles=30, seed=78, years=3, dirt=Dirt.usual())
    found = rank(load_fleet(simulate_fleet(spec), tmp_path), as_of=DAY)
    assert found["risk"].notna().all()
    assert (found["distance_on_pump_km"] < 600e3).all()


# How a stored fit may be broken: nothing in it, a type more than there are levels, a metric without its
# lines, an older program's summary.
BROKEN = {
    "empty": lambda stored: {},
    "types": lambda stored: stored | {"model": stored["model"] | {"types": [*stored["model"]["types"], "X"]}},
    "drift": lambda stored: stored | {"drift": {}},
    "summary": lambda stored: stored | {"model": stored["model"] | {"summary": {}}},
}


@pytest.fixture(scope="module")
def small_ledger(tmp_path_factory):
    ledger = build_ledger(tmp_path_factory.mktemp("small") / "fleet.duckdb", fitted=True)
    return ledger, rank(ledger, as_of=LAST_VISIT)  # a day that no midnight changes


@pytest.mark.parametrize("how", BROKEN)
def test_a_stored_fit_that_cant_be_read_is_left_aside_and_the_fleet_learned_anew(
    small_ledger, how, caplog, monkeypatch
):
    ledger, right = small_ledger
    first = stored_fit(ledger)
    learned = []  # each time what this ledger teaches, found once
    monkeypatch.setattr(
        "analytics.risk.forecast.fit_history", lambda history: learned.append(history) or first
    )
    with open_ledger(ledger, read_only=False) as connection:
        rows = connection.execute("SELECT parameters FROM fit WHERE fit_id = ?", [first.fit_id]).fetchall()
        broken = BROKEN[how](json.loads(rows[0][0]))
        connection.execute("UPDATE fit SET parameters = ?", [json.dumps(broken)])
    with caplog.at_level("WARNING"):
        assert_frame_equal(rank(ledger, as_of=LAST_VISIT), right)
    assert f"Stored fit {first.fit_id} can't be read as one of method" in caplog.text
    assert len(learned) == 1
    assert stored_fit(ledger).fit_id > first.fit_id


def test_the_next_capture_is_carried_with_its_odometer(small_ledger):
    pump = small_ledger[1].set_index("unit").loc["105"]
    assert pump["finding_action"] == "none"
    # The interval of 90 days or 9,000 km after the last visit, on 2026-01-01 at 135,000 km.
    assert pump["next_capture_on"] == date(2026, 4, 1)
    assert pump["next_capture_km"] == pytest.approx(144_000)


def test_past_readings_rated_far_higher_or_lower_are_none_like_it():
    ratings = {"edges": [0.0, 1e-6, 1e9], "mean": [4e-7, 2e-5], "n": [160.0, 22.0], "k": [0.0, 5.0]}
    n, k = alike(ratings, np.array([1e-7, 5e-7, 2e-6, 1e-5, 5e-5, 7e-5]))
    assert list(n) == [0, 160, 0, 22, 22, 0]
    assert list(k) == [0, 0, 0, 5, 5, 0]


def test_a_day_that_is_not_yet_moves_nobodys_list(small_ledger, tmp_path):
    ledger = shutil.copyfile(small_ledger[0], tmp_path / "fleet.duckdb")
    right = rank(ledger)
    with open_ledger(ledger, read_only=False) as connection:
        connection.execute(
            "UPDATE visit SET visited_on = DATE '2087-06-01' WHERE visit_id = "
            "(SELECT min(visit_id) FROM visit WHERE unit = '105')"
        )
    listed = rank(ledger)
    assert listed.attrs["as_of"] == right.attrs["as_of"] == LAST_VISIT.isoformat()
    assert max(listed["next_stop_on"].dropna()) < date(2087, 1, 1)
    assert last_fact(ledger) == LAST_VISIT


def test_a_pump_that_does_not_do_its_work_stands_before_every_risk(small_ledger, tmp_path):
    ledger = shutil.copyfile(small_ledger[0], tmp_path / "fleet.duckdb")
    with open_ledger(ledger, read_only=False) as connection:
        connection.execute(
            "UPDATE visit SET fuel_pressure_kpa = 200, supply_v = 13.5, supply_v_at = 'pump' "
            "WHERE unit = '105' AND visited_on = ?",
            [LAST_VISIT],
        )
    listed = rank(ledger, as_of=LAST_VISIT)
    running = listed[listed["status"] == "running"]
    first = running.iloc[0]
    assert first["unit"] == "105"
    assert first["not_working"]
    assert first["risk"] < running["risk"].max()
    assert first["reason"].startswith("Its last reading says that it doesn't do its work")
    assert not running.iloc[1:]["not_working"].any()
    assert to_act_on(listed[listed["status"] == "running"])["unit"].iloc[0] == "105"
    left = waiting(listed.assign(finished=False, benefit=0.0), (listed["unit"] == "105").to_numpy())
    assert list(left["why_code"]) == ["not-working"]
    shown = "\n".join(as_lines(listed, None, False))
    assert "not working" in shown
    weeks_on = rank(ledger, as_of=LAST_VISIT + timedelta(days=29)).set_index("unit")
    assert not weeks_on.loc["105", "not_working"]  # it has run on what it gets since
    assert weeks_on.loc["105", "finding"] == first["finding"]


@pytest.fixture
def listed(ledger, table, capsys):
    def run(*options):
        assert (
            main(
                ["rank", "--ledger", str(ledger), "--as-of", DAY.isoformat(), "--within", "8000 km", *options]
            )
            == 0
        )
        return capsys.readouterr().out.splitlines()

    return run


def test_every_line_fits_and_the_rest_is_counted(listed, table):
    whole = listed("--all")
    assert max(map(len, whole)) <= WIDTH
    first = listed("--top", "2")
    assert [line.split()[0] for line in first[1:]] == [table["unit"][0], table["unit"][1], "and", "Risk:"]
    assert first[3].startswith(f"and {len(table) - 2:,} more")
    assert "failing on the road within 4,970 mi;" in first[4]
    assert listed()[-2].startswith(f"and {len(table) - SHOWN:,} more")


def test_a_reason_stands_below_its_row_only_where_asked_for(listed):
    with_why = listed("--top", "1", "--why")
    assert with_why[:2] == listed("--top", "1")[:2]
    assert "chance of failing" in with_why[2]
    assert max(map(len, with_why)) <= WIDTH


def test_an_old_ledger_is_dated_and_plans_nothing_before_today(tmp_path, capsys):
    path = build_ledger(tmp_path / "old.duckdb", fitted=True)  # its last fact is of January 2026
    today = date.today()
    now = rank(path)
    days = pd.to_datetime(pd.concat([now["planned_on"], now["next_stop_on"]]).dropna())
    assert len(days)
    assert days.min() >= pd.Timestamp(today)
    assert main(["--ledger", str(path), "rank"]) == 0
    assert capsys.readouterr().out.startswith(f"As of {LAST_VISIT}, the day of the newest fact")
    assert main(["--ledger", str(path), "rank", "--json"]) == 0
    told = capsys.readouterr()
    assert json.loads(told.out)
    assert told.err.startswith(f"As of {LAST_VISIT}")
    assert main(["--ledger", str(path), "rank", "--as-of", str(LAST_VISIT)]) == 0
    assert "the day of the newest fact" not in capsys.readouterr().out


def test_a_ripple_heals_where_it_falls_beyond_doubt_and_by_what_matters():
    slope, none = np.array([-1e-4, -4.5e-8, -1e-4, 1e-4]), np.zeros(4)
    ripple = Drift("ripple_pct", none, none, slope, np.array([1e-5, 1e-8, 1e-4, 1e-5]), none, np.full(4, 5))
    assert ripple_heals(ripple, np.full(4, 77_000.0)).tolist() == [True, False, False, False]
