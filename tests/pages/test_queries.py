"""What the pages ask the ledger."""

import pandas as pd
import pytest

from dashboard.data import queries
from ingest.ledger.connection import open_ledger
from tests.ledger_fixture import build_ledger


@pytest.fixture(scope="module")
def ledger(tmp_path_factory):
    return build_ledger(tmp_path_factory.mktemp("queries") / "fleet.duckdb")


def test_counts(ledger):
    row = queries.ask(ledger, "fleet_counts").iloc[0]
    assert (row["vehicles"], row["pumps_in_service"], row["visits"], row["open_questions"]) == (8, 8, 40, 1)


def test_units_are_found_by_part_of_a_number_and_paged(ledger):
    def units(**more):
        asked = {
            "find": "",
            "depots": (),
            "classes": (),
            "types": (),
            "order": "number",
            "rows": 50,
            "skip": 0,
        }
        return queries.ask(ledger, "units_list", **asked | more)

    assert units(find="10")["unit"].tolist() == ["101", "102", "103", "104", "105", "106"]
    page = units(rows=3, skip=3)
    assert len(page) == 3
    assert page["found"].iloc[0] == 8
    assert units(find="'; DROP TABLE vehicle; --").empty


def test_trends_hold_the_last_readings_oldest_first(ledger):
    trends = queries.trends(ledger)
    assert trends.loc[1, "currents_a"] == pytest.approx([5.2, 5.5, 5.8, 6.1, 6.4])


def test_events_belong_to_the_life_of_the_pump(ledger):
    assert "filter" in queries.ask(ledger, "events_of_pump", pump_id=1)["event"].tolist()
    lives = queries.ask(ledger, "pumps_of_unit", unit="104")
    first = int(lives[lives["removed_on"].notna()]["pump_id"].iloc[0])
    assert queries.ask(ledger, "events_of_pump", pump_id=first)["event"].tolist()[-2:] == [
        "breakdown",
        "pump removed",
    ]


@pytest.mark.parametrize(
    ("typed", "expected"),
    [("07", ["007", "7"]), ("7", ["007"]), ("110", ["101"]), ("10", []), ("1O1", ["101"]), ("999", [])],
)  # fmt: skip
def test_near_matches(typed, expected):
    names = ["101", "205", "007", "7"]
    assert queries.near_matches(typed, names) == expected


def test_the_visits_of_one_pump_are_those_of_the_view(ledger):
    """They are sought first, for speed; every column of the view is there with the same values."""
    shown = queries.ask(ledger, "visits_of_pump", pump_id=1)
    with open_ledger(ledger) as connection:
        view = connection.execute(
            "SELECT * FROM visit_detail WHERE pump_id = 1 ORDER BY visited_on, visit_id"
        ).df()
    assert len(view) > 3
    pd.testing.assert_frame_equal(shown[view.columns], view)
