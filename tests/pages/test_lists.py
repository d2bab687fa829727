"""Lists on the pages: found by any word, narrowed in one way, saved whole."""

import pandas as pd
import pytest

from dashboard.data import queries
from dashboard.parts import risk_list, settling
from dashboard.shell import lists
from dashboard.shell.paper_tables import lined
from ingest.ledger.connection import open_ledger
from tests.ledger_fixture import build_ledger
from tests.pages.page_runs import open_page, words


@pytest.fixture(scope="module")
def shared(tmp_path_factory):
    return build_ledger(tmp_path_factory.mktemp("lists") / "fleet.duckdb", fitted=True)


@pytest.fixture
def ledger(shared, monkeypatch):
    monkeypatch.setenv("PUMPLEDGER", str(shared))
    return shared


def test_rows_are_found_by_any_word_of_theirs():
    rows = pd.DataFrame({"Type": ["FP-10", "FP-20"], "Low": [4.0, 3.5], "Note": ["In Tank", None]})
    assert lists.holding(rows, "tank")["Type"].tolist() == ["FP-10"]
    assert lists.holding(rows, "3.5")["Type"].tolist() == ["FP-20"]
    assert len(lists.holding(rows, " ")) == 2
    assert not len(lists.holding(rows, "no such"))


def test_on_paper_sentences_stand_below_their_row():
    why = "Drag has probably started, and the reading before said so too."
    rows = pd.DataFrame([["1-2", "<b>x", "a", "b", why], ["7", "y", "a", "b", ""]], columns=list("ABCDE"))
    told = lined(rows.to_dict("list"))
    assert told["head"] == [*"ABCD"]
    assert told["rows"] == [[["1-2", "<b>x", "a", "b"], [["E", why]]], [["7", "y", "a", "b"], []]]
    named_first = lined(rows[[*"EABCD"]].to_dict("list"))
    assert named_first["rows"][0][0][0] == why  # what a row is called stays in it, however long
    assert lined(rows[["A", "E"]].to_dict("list"))["head"] == ["A", "E"]  # room enough beside it


def test_on_paper_figures_are_written_as_in_the_grid():
    cells = [("Cost, EUR", 1239.0), ("Cost, EUR", 12.5), ("Odometer, km", 9510), ("Hours", 2.5), ("N", 12345)]
    cells += [("Note", None), ("Own stop", True)]
    told = [lists._printed(cell, column) for column, cell in cells]
    assert told == ["1,239", "12.50", "9,510", "2.5", "12,345", "–", "True"]


ASKED = {"code": None, "find": "", "depots": (), "classes": (), "types": (), "rows": 50, "skip": 0}


@pytest.mark.parametrize(
    ("narrowed", "found"),
    [({}, 1), ({"depots": ("North",)}, 1), ({"depots": ("South",)}, 0), ({"types": ("FP-10",)}, 1),
     ({"types": ("FP-20",)}, 0), ({"classes": ("ambulance",)}, 0), ({"find": "10"}, 1), ({"find": "7"}, 0)],
)  # fmt: skip
def test_open_questions_are_narrowed(ledger, narrowed, found):
    rows = queries.ask(ledger, "open_questions", **ASKED | narrowed)
    assert len(rows) == found
    if found:
        saved = settling.question_table(rows).iloc[0]
        assert (saved["Unit"], saved["Depot"], saved["Visit of"]) == ("101", "North", "2025-07-05")


def test_work_is_narrowed_by_the_pump_in_place(ledger):
    asked = {"find": "", "depots": (), "classes": (), "kinds": (), "rows": 50, "skip": 0}
    for types, units in (((), {"101", "104"}), (("FP-10",), {"101", "104"}), (("FP-30",), set())):
        assert set(queries.ask(ledger, "work_list", types=types, **asked)["unit"]) == units


def test_the_visits_of_a_pump_are_those_of_the_ledgers_own_view(ledger):
    mine = queries.ask(ledger, "visits_of_pump", pump_id=1)
    with open_ledger(ledger) as connection:
        view = connection.execute(
            "SELECT * FROM visit_detail WHERE pump_id = 1 ORDER BY visited_on, visit_id"
        ).df()
    assert len(view) == 5
    pd.testing.assert_frame_equal(mine[view.columns], view)


def test_the_risk_list_is_put_in_order(ledger):
    units = open_page("pumps_by_risk", order="unit").dataframe[0].value["Unit"].tolist()
    assert units == sorted(units)
    rows = pd.DataFrame(
        {"risk": [0.3, 0.2], "due_by": [None, pd.Timestamp("2026-01-01")], "unit": ["a", "b"]}
    )
    assert risk_list.in_order(rows, "due date")["unit"].tolist() == ["b", "a"]


def test_small_lines_share_one_scale():
    assert risk_list.against_first([5.0, 5.5]) == [100.0, 110.0]
    assert risk_list.against_first(float("nan")) is None


def test_the_printed_list_says_what_it_was_narrowed_to(ledger):
    from datetime import date

    from dashboard.data import loaders

    rows = loaders.ranking()
    said = risk_list.choices_words({"depot": ["North"]}, ["check circuit"], "", "risk")
    page = risk_list.paper(rows, said, date(2026, 1, 2))
    assert "8 pumps, North; check circuit; in order of risk" in page
    assert "A4 landscape" in page
    assert page.count("<tr") == 9
    assert "none of it" not in page
    assert ">now<" not in page
    stands = rows.assign(not_working=rows["unit"] == "101")
    assert risk_list.paper(stands, said, date(2026, 1, 2)).count(">now<") == 1  # whatever its risk
    many = pd.concat([rows] * 30, ignore_index=True)
    assert "the first 200 are printed" in risk_list.paper(many, said, date(2026, 1, 2))


def test_lists_with_rows_can_be_searched(ledger):
    page = open_page("fleet_data", part="Settings")
    everything = len(page.dataframe[0].value)
    page.text_input(key="find_settings").set_value("ripple").run()
    found = page.dataframe[0].value
    assert 0 < len(found) < everything
    assert found["Setting"].str.contains("ripple").any()


def test_types_and_lots_are_listed_with_what_was_allowed_for_looks(ledger):
    page = open_page("costs", costs_part="Types and lots")
    text = words(page)
    assert "held against the rest" in text
    assert "named in 1 of 100 cases, and a suspect in about 1 of 5" in text


@pytest.fixture(scope="module")
def long_ledger(tmp_path_factory):
    """130 more units, each with a pump; 70 of them in the North."""
    path = build_ledger(tmp_path_factory.mktemp("long") / "fleet.duckdb", fitted=True)
    with open_ledger(path, read_only=False) as connection:
        connection.execute(
            "INSERT INTO vehicle (unit, class, depot, recorded_at) SELECT printf('U%03d', i), 'van',"
            " CASE WHEN i < 70 THEN 'North' ELSE 'South' END, now() FROM range(130) r(i)"
        )
        connection.execute(
            "INSERT INTO pump (pump_id, unit, pump_type, fitted_on, recorded_at)"
            " SELECT 1000 + i, printf('U%03d', i), 'FP-10', DATE '2024-01-01', now() FROM range(130) r(i)"
        )
    return path


def page_of(page):
    return next((n for n in page.number_input if n.label.startswith("Page of")), None)


@pytest.mark.parametrize(
    ("view", "address", "narrowed", "search"),
    [
        ("fleet_data", "units_page", {"part": "Units", "units_depot": "North"}, "find_unit"),
        ("pumps_by_risk", "page", {"by_depot": "North"}, "find"),
    ],
)
def test_a_long_list_comes_a_page_at_a_time(long_ledger, monkeypatch, view, address, narrowed, search):
    monkeypatch.setenv("PUMPLEDGER", str(long_ledger))
    part = {k: v for k, v in narrowed.items() if k == "part"}
    seen = []
    for number in ("1", "2", "3"):
        page = open_page(view, **part, **{address: number})  # each page of it has an address of its own
        assert page_of(page).label == "Page of 3"
        seen.append(page.dataframe[0].value["Unit"].tolist())
    assert [len(units) for units in seen] == [50, 50, 38]
    assert len({unit for units in seen for unit in units}) == 138
    # Narrowed meanwhile, the list begins again where the page it stood at is no more.
    page = open_page(view, **narrowed, **{address: "3"})
    assert page_of(page).label == "Page of 2"
    assert page_of(page).value == 1
    assert len(page.dataframe[0].value) == 50
    page_of(page).set_value(2)
    assert len(page.run().dataframe[0].value) == 24
    page.text_input(key=search).set_value("U01").run()
    assert page_of(page) is None
    assert page.dataframe[0].value["Unit"].str.startswith("U01").sum() == 10
