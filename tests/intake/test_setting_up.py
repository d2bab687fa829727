"""A fleet is set up without a folder, in any order; what nobody knows stays blank."""

import json

import pytest

from dashboard.cli import main
from ingest.ledger.connection import open_ledger
from tests.ledger_fixture import small_capture, write_capture_csv
from tests.pages.page_runs import open_page, words


def query(ledger, sql):
    with open_ledger(ledger) as connection:
        return connection.execute(sql).fetchall()


@pytest.fixture
def add(tmp_path, capsys):
    def run(*words):
        code = main(["add", "--ledger", str(tmp_path / "fleet.duckdb"), *words])
        return code, *capsys.readouterr()

    run.ledger = tmp_path / "fleet.duckdb"
    return run


def test_a_fleet_is_set_up_in_any_order(add):
    code, out, _ = add("unit", "214", "depot=North", "pump_type=FP-10", "fitted_on=nobody knows",
                       "fitted_odometer=41000")  # fmt: skip
    assert code == 0
    assert "fitted on not known, fitted odometer 41000 mi. Nobody has said yet what current" in out
    code, out, _ = add("type", "FP-20", "current_low_a=4", "current_high_a=7", "price=210")
    assert code == 0
    assert "current low 4 A, current high 7 A, price 210." in out
    # A type that a unit only named takes what is known of it later, and keeps it.
    assert add("type", "FP-10", "current_low_a=4", "segments=8")[0] == 0
    assert "has segments 8 on record" in add("type", "FP-10", "segments=10")[2]
    assert add("fleet", "distance_unit=km", "currency=EUR")[0] == 0
    assert (
        add("depot", "North", "hours=16")[1].strip() == "Depot North is on record with 16 bay hours a week."
    )
    assert "It has no pump yet" in add("unit", "215", "year=2021")[1]
    assert add("unit", "215", "pump_type=FP-20", "fitted_odometer=100 mi")[1].endswith("100 mi.\n")
    assert add("unit", "215", "serial=S15")[0] == 0  # which makes no pump of unknown type
    assert query(add.ledger, "SELECT count(*) FROM pump_type") == [(2,)]
    assert add("unit", "216", "fitted_on=nobody knows", "pump_type=nobody knows")[0] == 0
    assert add("unit", "216", "pump_type=FP-20", "lot=L7")[0] == 0  # fills in what nobody knew
    assert query(add.ledger, "SELECT pump_type, lot FROM pump WHERE unit = '216'") == [("FP-20", "L7")]
    rows = query(
        add.ledger,
        "SELECT unit, pump_type, fitted_on, round(fitted_odometer_km, 1) FROM pump ORDER BY 1 LIMIT 2",
    )
    assert rows == [("214", "FP-10", None, 65983.1), ("215", "FP-20", None, 160.9)]
    assert query(add.ledger, "SELECT count(*) FROM pump_type WHERE pump_type <> 'unknown'") == [(2,)]


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        (("unit", "214", "depot=North"), "is on record already"),
        (("unit", "214", "pump_type=FP-20"), "has a pump in position main"),
        (("unit", "216", "colour=red"), "no entry 'colour'"),
        (("unit", "n/a"), "unit: must be given"),
        (("type", "FP-9", "current_low_a=8", "current_high_a=7"), "lies above"),
        (("type", "FP-9", "colour=red"), "no entry 'colour'; it has: pump_type"),
        (("depot", "North"), "such as hours=16"),
        (("depot", "North", "hours=16", "bays=2"), "no entry 'bays'"),
        (("fleet", "speed=9"), "no setting 'speed'"),
        (("fleet", "distance_unit=furlong"), "is not 'mi' or 'km'"),
    ],
)
def test_what_cannot_be_is_said_in_one_sentence(add, typed, says):
    add("unit", "214", "pump_type=FP-10")
    code, _, err = add(*typed)
    assert code == 1
    assert says in err
    assert err.count("\n") == 1
    assert query(add.ledger, "SELECT count(*) FROM vehicle") == [(1,)]


def test_a_date_in_doubt_is_asked_for_without_talk_of_files(add):
    err = add("unit", "9", "fitted_on=3.4.2022")[2]
    assert "write it year first, such as 2026-03-31." in err
    assert "fleet.toml" not in err


def test_the_page_begins_an_empty_ledger(tmp_path, monkeypatch):
    monkeypatch.setenv("PUMPLEDGER", str(tmp_path / "new.duckdb"))
    page = open_page("fleet_data")
    for key, text in (("set_up_unit", "7"), ("set_up_type", "FP-10"), ("set_up_by", "AB")):
        page.text_input(key=key).set_value(text)
    page.selectbox(key="set_up_distance").set_value("km")
    next(b for b in page.button if b.label == "Begin with this unit").click()
    page.run()
    assert "Unit 7 is on record" in words(page)
    assert query(tmp_path / "new.duckdb", "SELECT unit, pump_type, fitted_on FROM pump") == [
        ("7", "FP-10", None)
    ]
    assert ("distance_unit", '"km"') in query(tmp_path / "new.duckdb", "SELECT key, value FROM setting")


def test_a_first_visit_after_a_first_ranking_is_taken_in(tmp_path, capsys):
    """What was learned of a ledger without a reading serves until the fleet is learned anew."""
    ledger = ["--ledger", str(tmp_path / "l.duckdb")]
    assert main([*ledger, "add", "unit", "5", "pump_type=Z"]) == 0
    assert main([*ledger, "rank"]) == 0
    visit = ["log", "--meter-a", "5", "--unit", "5", "--odometer", "1000 km", "--state", "idle"]
    assert main([*ledger, *visit]) == 0
    assert main([*ledger, "rank", "--why"]) == 0
    assert "One reading only" in capsys.readouterr().out


def test_a_first_capture_after_meters_alone_condemns_no_pump(tmp_path, capsys):
    """Learned of pumps without a ripple, what is known says nothing of the first one read."""
    ledger = ["--ledger", str(tmp_path / "l.duckdb")]
    visit = ["log", "--unit", "5", "--state", "idle"]
    assert main([*ledger, "add", "unit", "5", "pump_type=Z"]) == 0
    assert main([*ledger, *visit, "--meter-a", "5", "--odometer", "1000 km", "--date", "2026-01-05"]) == 0
    assert main([*ledger, "rank"]) == 0
    trace = write_capture_csv(tmp_path / "a.csv", small_capture())
    assert main([*ledger, *visit, str(trace), "--odometer", "7000 km", "--date", "2026-04-05"]) == 0
    capsys.readouterr()
    assert main([*ledger, "rank", "--json"]) == 0
    [row] = json.loads(capsys.readouterr().out)
    assert row["risk"] < 0.1
