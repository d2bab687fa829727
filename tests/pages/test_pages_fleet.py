"""Fleet data: every part at its own address, lists narrowed, facts and prices changed and logged."""

import pytest

from dashboard.shell import access
from dashboard.views.fleet_data import prices as fleet_prices
from ingest.ledger.connection import open_ledger
from tests.ledger_fixture import build_ledger
from tests.pages.page_runs import open_page, words


@pytest.fixture(scope="module")
def shared(tmp_path_factory):
    return build_ledger(tmp_path_factory.mktemp("fleet") / "fleet.duckdb")


@pytest.fixture
def ledger(shared, monkeypatch):
    monkeypatch.setenv("PUMPLEDGER", str(shared))
    return shared


def press(page, label):
    next(b for b in page.button if b.label == label).click()
    page.run()
    return page


def ask(ledger, sql):
    with open_ledger(ledger) as connection:
        return connection.execute(sql).fetchall()


@pytest.mark.parametrize(
    ("part", "says"),
    [("Units", "8 units"), ("Pump types", "Change a pump type"), ("Where to clamp", "every vehicle"),
     ("Work done", "2 entries"), ("Prices", "Placeholders among"), ("Settings", "common practice"),
     ("Bring in a folder", "Look first")],
)  # fmt: skip
def test_each_part_has_its_address(ledger, part, says):
    page = open_page("fleet_data", part=part)
    assert not page.error
    assert says in words(page) + " ".join(e.label for e in page.expander)


def test_units_are_narrowed_by_depot_class_and_type(ledger):
    table = open_page("fleet_data", units_depot="North", units_class="van").dataframe[0].value
    assert table["Unit"].tolist() == ["101", "102", "104"]
    table = open_page("fleet_data", units_pump_type="FP-20").dataframe[0].value
    assert table["Unit"].tolist() == ["102", "105", "7"]


def test_work_is_narrowed_by_kind(ledger):
    table = open_page("fleet_data", part="Work done", work_kind="Breakdown").dataframe[0].value
    assert table["Unit"].tolist() == ["104"]


def test_a_type_is_changed_and_the_change_listed(ledger):
    page = open_page("fleet_data", part="Pump types")
    page.selectbox(key="type_to_change").set_value("FP-30").run()
    page.text_input(key="type_FP-30_current_high_a").set_value("8.5")
    page.text_input(key="type_FP-30_reason").set_value("maker's sheet of May")
    press(page, "Keep this type")
    assert "Give your initials first" in words(page)
    page.text_input(key="type_FP-30_by").set_value("PL")
    press(page, "Keep this type")
    assert "kept as shown" in words(page)
    assert ask(ledger, "SELECT current_high_a FROM pump_type WHERE pump_type = 'FP-30'") == [(8.5,)]
    changes = open_page("fleet_data", part="Changes", find_change="FP-30").dataframe[0].value
    assert changes[["By", "Before", "After", "Why"]].values.tolist() == [
        ["PL", "8", "8.5", "maker's sheet of May"]
    ]


def test_a_setting_is_changed_with_its_old_value(ledger):
    page = open_page("fleet_data", part="Settings")
    next(s for s in page.selectbox if s.label == "Setting").set_value("ripple_limit_pct")
    next(t for t in page.text_input if t.label == "New value").set_value("12")
    next(t for t in page.text_input if t.label == "Reason").set_value("our clamps are quiet")
    page.text_input(key="setting_by").set_value("MG")
    press(page, "Change it")
    assert "ripple_limit_pct holds from" in words(page)
    rows = ask(ledger, "SELECT new_value, changed_by FROM change_log WHERE table_name = 'setting'")
    assert rows == [("12.0", "MG")]


def test_a_price_for_one_class_stands_beside_the_general_one(ledger):
    page = open_page("fleet_data", part="Prices")
    page.selectbox(key="price_element").set_value("tow").run()
    page.number_input[0].set_value(700.0)
    next(s for s in page.selectbox if s.label == "Only for the class").set_value("ambulance")
    next(t for t in page.text_input if t.label == "Source").set_value("contract")
    next(t for t in page.text_input if t.label == "Your initials").set_value("MG")
    press(page, "Keep this price")
    table = open_page("fleet_data", part="Prices").dataframe[0].value
    tow = table[table["Price"] == "Tow"].set_index("For")["Amount"]
    assert tow.to_dict() == {"all": 400.0, "ambulance": 700.0}


def test_work_is_entered_in_the_fleets_unit(ledger):
    page = open_page("fleet_data", part="Work done")
    page.text_input(key="new_work_unit").set_value("102")
    page.text_input(key="new_work_odometer").set_value("88000")
    page.text_input(key="new_work_by").set_value("TK")
    press(page, "Keep this entry")
    assert "is kept" in words(page)
    rows = ask(ledger, "SELECT work, round(odometer_km) FROM service WHERE unit = '102'")
    assert rows == [("filter", 141622.0)]


def test_later_roles_may_do_what_earlier_ones_may():
    assert access.role_may("technician", "work")
    assert not access.role_may("technician", "facts")
    assert not access.role_may("planner", "prices")
    assert all(access.role_may(role, what) for role in (None, "manager") for what in ("prices", "load"))
    assert fleet_prices.setting_value("baseline_visits", "4") == 4


@pytest.fixture
def own_ledger(tmp_path, monkeypatch):
    """A ledger that one test alone writes into."""
    made = build_ledger(tmp_path / "fleet.duckdb")
    monkeypatch.setenv("PUMPLEDGER", str(made))
    return made


def opened(form):
    """Return the page of work done with one of its forms open."""
    page = open_page("fleet_data", part="Work done")
    page.session_state[f"open_{form}"] = True
    return page.run()


def fill(page, **texts):
    for key, text in texts.items():
        page.text_input(key=key).set_value(text)
    return page


def test_a_pump_is_changed_without_a_visit(own_ledger):
    page = fill(opened("fit"), fit_unit="102").run()
    assert "In service there: type FP-20 no. S-102, fitted on 2021-03-01. It comes off." in words(page)
    fill(page, fit_new_serial="N-1", fit_odometer="86000", fit_by="TK")
    press(page, "Keep this pump")
    assert "Say why the pump came off." in words(page)
    next(g for g in page.get("button_group") if g.key == "fit_removal").set_value("failed")
    press(page, "Keep this pump")
    assert "Its baseline is due" in words(page)
    lives = ask(own_ledger, "SELECT serial, removal, round(removed_odometer_km) FROM pump WHERE unit = '102'")
    assert lives == [("S-102", "failed", 138404.0), ("N-1", None, None)]
    assert ("TK",) in ask(own_ledger, "SELECT changed_by FROM change_log WHERE table_name = 'pump'")
    # An empty position takes a pump at an unknown day.
    page = fill(opened("fit"), fit_unit="102", fit_position="second").run()
    page.date_input(key="fit_day").set_value(None)
    page.selectbox(key="fit_new_type").set_value("FP-10")
    page.number_input(key="fit_share").set_value(50.0)
    press(fill(page, fit_by="TK"), "Keep this pump")
    fitted = ask(own_ledger, "SELECT pump_type, fitted_on, run_share FROM pump WHERE position = 'second'")
    assert fitted == [("FP-10", None, 0.5)]


def test_a_pump_is_moved_to_another_unit(own_ledger):
    page = fill(opened("move"), move_from_unit="102", move_to_unit="103", move_by="TK")
    press(page, "Keep this move")
    assert "Unit 103 has a pump in position main; take that off first." in words(page)
    fill(page, move_to_position="second", move_km_from="100000 km", move_km_to="55000 km")
    press(page, "Keep this move")
    assert "kept as moved to unit 103" in words(page)
    moved = ask(own_ledger, "SELECT unit, serial, prior_distance_km FROM pump WHERE position = 'second'")
    assert moved == [("103", "S-102", 100_000.0)]


def test_entries_count_on_after_a_new_instrument_cluster(own_ledger):
    page = fill(opened("cluster"), cluster_unit="105", cluster_old="90000 km", cluster_new="0 km",
                cluster_by="TK")  # fmt: skip
    press(page, "Keep this replacement")
    assert "Unit 105 had 83,885 mi on 2026-01-01 already" in words(page)
    fill(page, cluster_old="140000 km")
    press(page, "Keep this replacement")
    assert "The new instrument cluster of unit 105 is kept" in words(page)
    page = open_page("fleet_data", part="Work done")
    fill(page, new_work_unit="105", new_work_odometer="1000 km", new_work_by="TK")
    press(page, "Keep this entry")
    page.selectbox(key="new_work").set_value("breakdown").run()
    fill(page, new_work_unit="105", new_work_odometer="1500 km", new_work_by="TK")
    press(page, "Keep this entry")
    assert ask(own_ledger, "SELECT odometer_km FROM service WHERE unit = '105'") == [(141_000.0,)]
    assert ask(own_ledger, "SELECT odometer_km FROM breakdown WHERE unit = '105'") == [(141_500.0,)]
    page = fill(opened("fit"), fit_unit="105").run()
    fill(page, fit_odometer="2000 km", fit_by="TK")
    next(g for g in page.get("button_group") if g.key == "fit_removal").set_value("other")
    press(page, "Keep this pump")
    assert ask(own_ledger, "SELECT fitted_odometer_km FROM pump ORDER BY pump_id DESC LIMIT 1") == [
        (142_000.0,)
    ]
