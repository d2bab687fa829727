"""The cost review on a small ledger: complete, honest about what it rests on, and moved by a price."""

from __future__ import annotations

import io
import json
import re
from datetime import date
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from analytics.cost_review.costs import cost_review, read_costs
from analytics.cost_review.facts import PUMP_KINDS
from analytics.cost_review.groups import Group
from analytics.cost_review.policy_review import policy_table
from analytics.cost_review.weibull import Weibull
from analytics.money.cost_book import Prices, set_cost
from analytics.money.policies import POLICIES, Events
from dashboard.cli import main
from dashboard.commands.cost import FRAMES
from dashboard.views.costs import parts as policy_page
from dashboard.views.costs import spent as spent_page
from dashboard.words import formats
from dashboard.words.formats import as_csv
from dashboard.words.money import NAMES, changes_words
from dashboard.words.tidy import tidy
from ingest.errors import EntryRefused
from ingest.ledger.connection import open_ledger
from tests.authors import ANYBODY
from tests.ledger_fixture import build_ledger

LIVES = 150


@pytest.fixture(scope="module")
def ledger(tmp_path_factory):
    return build_ledger(tmp_path_factory.mktemp("costs") / "fleet.duckdb", fitted=True)


@pytest.fixture(scope="module")
def review(ledger):
    return cost_review(ledger, lives=LIVES, discount_pct=8.0)


def test_every_policy_has_a_cost_with_its_range(review):
    assert review.policies["policy"].tolist() == [
        "run to failure",
        "fixed age",
        "limits on the last reading",
        "risk",
    ]
    for name in ("cost", "cost_low", "cost_high", "breakdowns", "replacements", "saving_low", "saving_high"):
        assert np.isfinite(review.policies[name]).all()
    assert (review.policies["cost_low"] <= review.policies["cost"]).all()
    assert (review.policies["cost"] <= review.policies["cost_high"]).all()
    assert (review.policies["breakdowns"] <= review.policies["breakdowns"].iloc[0]).all()


def test_it_says_on_how_little_it_rests(review):
    codes = {note.code for note in review.notes}
    assert "cost-placeholder-prices" in codes
    assert "failures-before-records" in codes  # the only one, of a pump taken off before the first visit
    assert "lives-of-practice" not in codes
    assert (review.best_ages["prior_share"] > 0.5).all()
    assert (review.best_ages["age_low"] < review.best_ages["best_age"]).all()
    assert (review.best_ages["best_age"] < review.best_ages["age_high"]).all()


def test_one_age_stands_in_the_answer_the_policies_and_the_ages(review):
    policy = review.policies.set_index("policy").loc["fixed age"]
    ages = review.best_ages.set_index("pump_type")["best_age"].drop("all types").dropna()
    assert policy["setting_low"] in ages.to_numpy()
    assert policy["setting_high"] in ages.to_numpy()
    low, high = (f"{float(f'{policy[n]:.3g}'):,.0f}" for n in ("setting_low", "setting_high"))
    words = low if low == high else f"{low} to {high}"
    assert any(f"fixed age ({words} mi" in sentence for sentence in review.answer)
    assert (review.best_ages["age_low"] < review.best_ages["age_high"]).all()


def test_tables_are_tidy_and_every_column_is_documented(review):
    text = (Path(__file__).parents[2] / "docs" / "costs.md").read_text(encoding="utf-8")
    words = set(re.findall(r"[a-z_0-9]+", text))
    for name in FRAMES:
        table = tidy(getattr(review, name))
        ranges = {f"{known}{end}" for known in words for end in ("_low", "_high")}
        assert set(table.columns) <= words | ranges, name
        for column in table.select_dtypes("float"):
            shown = table[column].dropna().astype(str)
            assert (shown.str.split(".").str[-1].str.len() <= 4).all(), (name, column)
    facts = tidy(review.facts)
    assert facts["pump_id"].astype(str).str.isdigit().all()
    assert facts["cost"].sum() == pytest.approx(review.facts["cost"].sum(), abs=0.01)


def test_money_later_weighs_less_so_the_age_rises(review):
    assert (review.best_ages["best_age_discounted"] > review.best_ages["best_age"] * 0.98).all()


def test_spent_and_avoided_are_apart(review):
    row = review.spent.iloc[0]
    assert (row["year"], row["kind"], row["cost_recorded"], row["cost_estimated"]) == (
        2024,
        "on failure",
        2310.0,
        0.0,
    )
    assert (review.changes.changed, review.changes.money_avoided) == (0, 0.0)
    # The breakdown and the pump it ended are one event, though both say what it cost.
    assert len(review.facts) == 1
    assert review.facts["cost_from"].iloc[0] == "breakdown and pump, the larger"


@pytest.fixture(scope="module")
def acted(tmp_path_factory):
    """The review of a fleet of which three pumps were taken off on condition, two of them looked into."""
    ledger = build_ledger(tmp_path_factory.mktemp("acted") / "fleet.duckdb", fitted=True)
    with open_ledger(ledger, read_only=False) as connection:
        connection.execute(
            "UPDATE pump SET removed_on = DATE '2025-12-01', removed_odometer_km = 130000,"
            " removal = 'on_condition',"
            " found = CASE unit WHEN '102' THEN 'worn' WHEN '103' THEN 'tested_good' END"
            " WHERE unit IN ('102', '103', '106')"
        )
    return cost_review(ledger, lives=LIVES)


def exported(frame):
    """A table as someone has it who saved it: from the bytes of its CSV."""
    return pd.read_csv(io.BytesIO(as_csv(tidy(frame))), encoding="utf-8-sig")


def test_each_figure_of_the_costs_page_adds_up_from_the_exported_tables(acted):
    facts, spent, months = (exported(getattr(acted, name)) for name in ("facts", "spent", "months"))
    pumps = facts[facts["kind"].isin(PUMP_KINDS)]
    shown = spent_page.by_year(spent_page.of_pumps(acted.facts), "USD").set_index(["Year", "Kind"])
    by_year = pumps.groupby(["year", "kind"])
    pd.testing.assert_series_equal(
        shown["In all, USD"], by_year["cost"].sum().round(0), check_names=False, check_index_type=False
    )
    grouped = spent.groupby(["year", "kind"])["replacements"].sum()
    assert shown["Replacements"].tolist() == by_year.size().tolist() == grouped.tolist()
    assert spent[["cost_recorded", "cost_estimated"]].sum().sum() == pumps["cost"].sum()

    done = pumps[pumps["told_risk"].notna()]
    words = changes_words(acted.changes, "USD", acted.distance_unit)
    avoided = done["told_risk"].sum()
    assert words.startswith(f"{len(done)} pumps; of {months['examined'].sum()} looked into")
    assert f"called {months['tested_good'].sum()} good ({months['cost_of_good'].sum():,.0f} USD" in words
    assert f"{avoided:.1f} failures avoided" in words
    worth = float(re.search(r"worth ([\d,]+) USD", words)[1].replace(",", ""))
    # A risk is exported to four decimals, and money said to three digits.
    close = 5e-5 * len(done) * (acted.failure - acted.planned) + 0.005 * worth + 0.5
    assert worth == pytest.approx(avoided * (acted.failure - acted.planned), abs=close)
    given_up = done["life_thrown_away"].sum()
    assert f"{formats.about(given_up)} mi of life given up" in words
    table = spent_page.changes_table(acted.months, acted)
    assert table["Changed"].sum() == len(done) == months["changed"].sum()
    assert table["Cost, USD"].sum() == pytest.approx(done["cost"].sum(), abs=1)
    assert months["failures_avoided"].sum() == pytest.approx(avoided, abs=1e-3)
    assert months["life_thrown_away"].sum() == pytest.approx(given_up, abs=len(done))


def test_each_figure_of_the_policies_adds_up_from_the_exported_tables(acted, ledger):
    policies, year, intervals = (exported(getattr(acted, name)) for name in ("policies", "year", "intervals"))
    prices = read_costs(ledger).prices()  # the same placeholders
    readings = policies["captures"] > 0  # a change after a reading is looked at once more before
    whole = policies["planned"] * prices.planned + policies["breakdowns"] * prices.failure
    whole += policies["captures"] * prices.capture + policies["needless"] * prices.false_alarm
    whole += policies["planned"] * prices.follow_up * readings
    np.testing.assert_allclose(policies["cost"], whole, rtol=2e-3)
    each = policies["planned"] + policies["breakdowns"]
    np.testing.assert_allclose(policies["replacements"], each, atol=2e-4)
    times = acted.distance_per_year / 10_000
    for name in ("cost", "saving", "breakdowns"):
        np.testing.assert_allclose(year[name], policies[name] * times, atol=0.01 * times)
    np.testing.assert_allclose(year["saving"], year["cost"].iloc[0] - year["cost"], atol=0.03)
    shown = policy_page.policy_table(acted).set_index("Policy")
    cost = year.set_index("policy")["cost"]
    for name, label in NAMES.items():
        assert shown.loc[label, "Cost, USD"].startswith(f"{formats.about(cost[name])} ("), name
        said = any(formats.about(cost[name]) in sentence for sentence in acted.answer)
        assert said or name == "limits on the last reading"
    own = intervals[(intervals["pump_type"] == "all types") & intervals["is_own"]].iloc[0]
    assert own["cost"] == pytest.approx(cost["risk"], rel=1e-3)
    assert own["saving"] == pytest.approx(cost["run to failure"] - cost["risk"], rel=1e-3)


def test_a_removal_on_condition_is_spent_and_avoids_what_its_risk_told(acted):
    review = acted
    planned = review.spent[review.spent["kind"] == "planned on condition"]
    assert planned["replacements"].sum() == 3
    assert planned["cost_estimated"].sum() == pytest.approx(3 * 650)
    month = review.months.iloc[0]
    assert (month["month"], month["changed"], month["examined"]) == ("2025-12", 3, 2)
    assert (month["found_bad"], month["tested_good"]) == (1, 1)
    assert month["cost_of_good"] == pytest.approx(
        650 + 60
    )  # the change, and what a needless one costs besides
    told = review.facts["told_risk"].dropna()
    assert len(told) == 3
    assert ((told > 0) & (told < 1)).all()
    assert review.changes.failures_avoided == pytest.approx(told.sum())
    assert review.changes.money_avoided == pytest.approx(1750 * told.sum())
    assert month["life_thrown_away"] == pytest.approx(review.facts["life_thrown_away"].sum())


def test_a_price_moves_the_review(ledger, review, tmp_path):
    other = build_ledger(tmp_path / "other.duckdb", fitted=True)
    set_cost(other, "failure_replacement", 4800.0, author=ANYBODY)
    dear = cost_review(other, lives=LIVES)
    asked = cost_review(ledger, lives=LIVES, what_if={"failure_replacement": 4800.0})
    pd.testing.assert_frame_equal(asked.policies, dear.policies)
    assert cost_review(ledger, lives=LIVES).failure == review.failure  # what if was written nowhere
    assert dear.ratio == pytest.approx(2 * review.ratio)
    cost = dear.policies["cost"].to_numpy()
    assert cost[0] == pytest.approx(2 * review.policies["cost"].iloc[0], rel=1e-9)
    assert (dear.policies["saving"].to_numpy()[[1, 3]] > review.policies["saving"].to_numpy()[[1, 3]]).all()
    assert dear.best_ages["best_age"].iloc[0] < review.best_ages["best_age"].iloc[0]


def test_a_ratio_below_one_is_a_sentence(tmp_path):
    ledger = build_ledger(tmp_path / "fleet.duckdb", fitted=True)
    set_cost(ledger, "failure_replacement", 400.0, author=ANYBODY)
    review = cost_review(ledger, lives=LIVES)
    assert any("costs no more than a planned one" in note.text for note in review.notes)
    assert review.best_ages["best_age"].isna().all()
    assert review.best_ages["why_none"].str.contains("no planned change pays").all()
    assert np.isfinite(review.policies["cost"]).all()


def test_a_discount_below_zero_is_refused(ledger):
    with pytest.raises(EntryRefused, match="must be 0 or more"):
        cost_review(ledger, discount_pct=-1)


def test_an_empty_ledger_is_no_crash(tmp_path):
    with open_ledger(tmp_path / "empty.duckdb", read_only=False):
        pass
    review = cost_review(tmp_path / "empty.duckdb", lives=LIVES)
    assert review.policies.empty
    assert review.spent.empty


def test_command_line(ledger, capsys):
    assert main(["cost", "--ledger", str(ledger), "--elements"]) == 0
    assert "tow" in capsys.readouterr().out
    assert main(["cost", "--ledger", str(ledger), "--set", "tow=-5"]) == 1
    assert "0 or more" in capsys.readouterr().err
    assert main(["cost", "--ledger", str(ledger), "--set", "tow"]) == 1
    assert "like tow=520" in capsys.readouterr().err
    assert main(["cost", "--ledger", str(ledger)]) == 0
    text = capsys.readouterr().out
    for part in ("run to failure", "Best age", "placeholder", "each event once", "2,310 USD recorded"):
        assert part in text
    assert main(["cost", "--ledger", str(ledger), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["policies"][3]["policy"] == "risk"


@pytest.mark.parametrize("amount", ["nan", "inf", "-inf", "-1", "1e999", "1e308"])
@pytest.mark.parametrize("option", [["--set"], ["--confirm", "--set"], ["--what-if"]])
def test_what_is_no_number_of_money_is_refused_everywhere(ledger, capsys, amount, option):
    assert main(["cost", "--ledger", str(ledger), *option, f"tow={amount}"]) == 1
    assert "is no price" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--depot=North"], "--depot says more of a price"),
        (["--by=AB", "--elements"], "--by says more of a price"),
        (["--set=tow=5", "--depot=Nowhere"], "No unit is of depot 'Nowhere'; there are:"),
        (["--set=tow=5", "--class=", "--confirm"], "No unit is of class ''; there are:"),
        (["--set=failure_replacement=1e-320"], "can't cost nothing"),
    ],
)
def test_what_would_count_for_nothing_is_refused(ledger, capsys, words, said):
    assert main(["cost", "--ledger", str(ledger), *words]) == 1
    assert said in capsys.readouterr().err


@pytest.mark.parametrize("rate", ["nan", "inf", "-1", "1e308"])
def test_a_rate_that_is_no_number_is_refused(ledger, capsys, rate):
    assert main(["cost", "--ledger", str(ledger), f"--discount={rate}"]) == 1
    assert "must be 0 or more" in capsys.readouterr().err


def test_a_price_is_kept_only_when_confirmed_from_today_on_with_its_author(tmp_path, capsys):
    ledger = build_ledger(tmp_path / "fleet.duckdb", fitted=True)

    def entries():
        with open_ledger(ledger) as connection:
            return connection.execute(
                "SELECT amount, valid_from, set_by, source FROM cost_entry WHERE element = 'tow'"
            ).fetchall()

    before = cost_review(ledger, lives=LIVES).facts
    assert main(["cost", "--ledger", str(ledger), "--set", "tow=900"]) == 0
    out = capsys.readouterr().out
    assert "one on failure 2,900 (now 2,400)" in out
    assert "Nothing was changed" in out
    assert entries() == []
    asked = ["cost", "--ledger", str(ledger), "--set", "tow=900", "--by", "MG", "--source", "contract"]
    assert main([*asked, "--confirm"]) == 0
    assert entries() == [(900.0, date.today(), "MG", "contract")]
    pd.testing.assert_frame_equal(cost_review(ledger, lives=LIVES).facts, before)  # the past stands
    assert main(["cost", "--ledger", str(ledger), "--confirm"]) == 1
    assert "none is given" in capsys.readouterr().err


def test_the_range_of_cost_and_saving_is_an_80_percent_one():
    """Lives known to a standard error of .2 in ln life, prices sure, simulated without end.

    Four in five lie within 1.28155 of them (normal table at .90): costs times exp(-+ that).
    """
    known = SimpleNamespace(
        of=lambda _: SimpleNamespace(covariance=np.diag([0.04, 0.0]), life=Weibull(2.0, 1e5))
    )
    prices = Prices(650.0, 2400.0, 0.0, 0.0, 0.0, 95.0, ())
    planned, failures = (0.0, 6e-6, 5e-6, 5e-6), (1e-5, 4e-6, 5e-6, 2e-6)
    events = {
        name: Events(p, f, 0.0, 0.0, 0.0, 1e5, 10**12)
        for name, p, f in zip(POLICIES, planned, failures, strict=True)
    }
    long_run = SimpleNamespace()
    group = Group("P", 1.0, None, prices, long_run, 1e4, np.ones(2))
    table, record = policy_table([group], [events], known, 1.0)
    assert record.apart == pytest.approx(np.log(1e-5 * known.of("P").life.mean))
    # As far as simulation and the lives on record lie apart, the ranges are wider.
    spread = np.exp(1.28155 * np.hypot(0.2, record.apart))
    cost = 650 * np.array(planned) + 2400 * np.array(failures)
    np.testing.assert_allclose(table["cost"], cost, rtol=1e-12)
    np.testing.assert_allclose(table["cost_high"], cost * spread, rtol=1e-4)
    np.testing.assert_allclose(table["cost_low"], cost / spread, rtol=1e-4)
    saved = cost[0] - cost
    np.testing.assert_allclose(table["saving_high"], saved * spread, rtol=1e-4, atol=1e-9)
    np.testing.assert_allclose(table["saving_low"], saved / spread, rtol=1e-4, atol=1e-9)
