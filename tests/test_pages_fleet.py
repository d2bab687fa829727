"""Fleet data: every part at its own address, lists narrowed, facts and prices changed and logged."""

import pytest

from dashboard import access, fleet_facts, fleet_prices
from ingest.errors import EntryRefused
from ingest.ledger import open_ledger
from tests.ledger_fixture import build_ledger
from tests.page_runs import open_page, words


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
        ["PL", "8.0", "8.5", "maker's sheet of May"]
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


def test_only_pictures_are_taken():
    assert fleet_facts.picture(b"\x89PNG....")["picture_type"] == "png"
    for content in (b"GIF89a", b"\xff\xd8\xff" + bytes(2_000_001)):
        with pytest.raises(EntryRefused):
            fleet_facts.picture(content)


def test_later_roles_may_do_what_earlier_ones_may():
    assert access.role_may("technician", "work")
    assert not access.role_may("technician", "facts")
    assert not access.role_may("planner", "prices")
    assert all(access.role_may(role, what) for role in (None, "manager") for what in ("prices", "load"))
    assert fleet_prices.setting_value("baseline_visits", "4") == 4
