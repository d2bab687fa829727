"""Small cases about data that have hurt people who do such work, one test a kind.

Each was suggested by a public report and is retold with figures of our own; the right behaviour is common
practice, no source.
"""

from datetime import date

import pandas as pd
import pytest

from ingest.dates import read_dates
from ingest.fleet_folder.loading import load_folder
from ingest.ledger.connection import open_ledger
from ingest.visit.checks import check_visit
from ingest.visit.entry import VisitEntry
from tests.authors import ANYBODY
from tests.fleet_folder.fleet_folders import ONE_UNIT, steady_visits, write_folder, write_visits

TODAY = date(2025, 7, 1)


@pytest.fixture
def ledger(tmp_path):
    return tmp_path / "fleet.duckdb"


def asked(ledger, **entry):
    with open_ledger(ledger) as connection:
        entry = VisitEntry(**({"position": "main", "visited_on": TODAY, "meter_a": 5.0} | entry))
        return {q.code: q.text for q in check_visit(connection, entry, None, today=TODAY)}


@pytest.mark.parametrize("mean_a", [50.0, 0.5])
def test_probe_factor_of_ten_is_asked_before_it_enters_the_trend(tmp_path, ledger, mean_a):
    visits = [*steady_visits(n=5), steady_visits(n=6)[5] | {"mean_a": mean_a}]
    report = load_folder(
        ledger, write_visits(tmp_path / "f", visits, **ONE_UNIT), today=TODAY, author=ANYBODY
    )
    assert [q.code for q in report.questions] == ["probe-factor"]
    with open_ledger(ledger) as connection:
        assert connection.execute("SELECT count(*) FROM visit WHERE NOT in_trend").fetchall() == [(1,)]
    assert "probe-factor" in asked(ledger, unit="T1", meter_a=mean_a)


def test_kilometres_typed_as_miles_and_typed_again(tmp_path, ledger):
    visits = [{"unit": "T1", "visited_on": "2025-03-01", "odometer": 5611, "mean_a": 5}]
    load_folder(
        ledger,
        write_visits(tmp_path / "f", visits, **ONE_UNIT | {"pumps": "unit,pump_type\nT1,P1"}),
        author=ANYBODY,
    )
    km = 9030 * 1.609344
    for _ in range(4):  # a safeguard must not give in when the value is repeated
        text = asked(ledger, unit="T1", odometer_km=km, odometer_entered=9030.0, odometer_unit="mi")
        assert "kilometres?" in text["odometer-kilometres"]


def test_a_vin_one_character_off_points_at_the_existing_unit(tmp_path, ledger):
    vehicles = "unit,vin\nA1,1M8GDM9AXKP042788\nA2,1M8GDM9AXKP042789"
    report = load_folder(ledger, write_folder(tmp_path / "f", vehicles=vehicles), author=ANYBODY)
    assert "one character off that of unit A1" in next(
        q.text for q in report.questions if q.code == "similar-vin"
    )


def test_a_vin_without_check_digit_only_warns_outside_north_america(tmp_path, ledger):
    report = load_folder(
        ledger, write_folder(tmp_path / "f", vehicles="unit,vin\nA1,WAUZZZ8K9BA012345"), author=ANYBODY
    )
    assert not report.questions
    assert len(report.notices) == 1


def test_day_and_month_have_one_order_for_the_column():
    read = read_dates(pd.Series(["12.01.2017", "15.04.2017"]))
    assert read.order == {".": "day-first"}
    assert list(read.local_date) == [pd.Timestamp("2017-01-12"), pd.Timestamp("2017-04-15")]


def test_day_and_month_that_cannot_be_told_are_asked():
    read = read_dates(pd.Series(["12.01.2017", "05.04.2017"]))
    assert read.local_date.isna().all()
    assert read.problem.str.contains("day first or month first").all()


def test_units_007_and_7_stay_two_and_warn(tmp_path, ledger):
    vehicles = "unit\n007\n7"
    visits = "unit,visited_on,mean_a\n007,2024-01-01,5\n7,2024-01-01,6"
    report = load_folder(
        ledger, write_folder(tmp_path / "f", vehicles=vehicles, visits=visits), author=ANYBODY
    )
    with open_ledger(ledger) as connection:
        rows = connection.execute("SELECT unit, mean_a FROM visit_detail ORDER BY 1").fetchall()
    assert rows == [("007", 5.0), ("7", 6.0)]
    assert "similar-unit" in {q.code for q in report.questions}


def test_byte_order_mark_does_not_join_the_first_header(tmp_path, ledger):
    folder = write_folder(tmp_path / "f")
    (folder / "visits.csv").write_bytes("\ufeffunit,visited_on,mean_a\nT1,2024-01-01,5\n".encode())
    assert not load_folder(ledger, folder, author=ANYBODY).refused


def test_decimal_comma_error_blames_the_right_row(tmp_path, ledger):
    folder = write_folder(tmp_path / "f")
    rows = "unit;visited_on;mean_a\na;2024-01-01;1,20\nb;2024-01-01;22,3\nc;2024-01-01;1.234,5,6\n"
    (folder / "visits.csv").write_text(rows, encoding="utf-8")
    assert [(p.row, p.field) for p in load_folder(ledger, folder, author=ANYBODY).refused] == [(4, "mean_a")]
