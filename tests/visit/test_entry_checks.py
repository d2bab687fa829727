"""Slips at the entry of one visit are asked about; a reason settles them, repetition does not."""

from datetime import date

import pytest

from ingest.errors import AnswerNeeded
from ingest.fleet_folder.loading import load_folder
from ingest.ledger.connection import open_ledger
from ingest.ledger.settings import settings_at
from ingest.units import KPA_PER_PSI, read_quantity
from ingest.visit.checks import check_visit
from ingest.visit.entry import VisitEntry
from ingest.visit.logging_visit import log_visit
from tests.authors import ANYBODY
from tests.fleet_folder.fleet_folders import ONE_UNIT, steady_visits, write_visits

TODAY = date(2025, 7, 1)  # the last visit of T1 is on 2025-04-04 at 55,000 miles; it drives 33 miles a day


@pytest.fixture(scope="module")
def ledger(tmp_path_factory):
    folder = tmp_path_factory.mktemp("entry")
    visits = steady_visits() + [
        v | {"mean_a": 6.4, "rpm": 6600} for v in steady_visits("007", start=90_000, step=3_500)
    ]
    tables = ONE_UNIT | {
        "vehicles": "unit,system_v\nT1,12\n007,12\n7,12\nBUS-12,24",
        "pump_types": "pump_type,current_low_a,current_high_a,rated_pressure_kpa\nP1,4,7,400",
    }
    load_folder(
        folder / "fleet.duckdb", write_visits(folder / "f", visits, **tables), today=TODAY, author=ANYBODY
    )
    return folder / "fleet.duckdb"


def ask(ledger, odometer=None, *, unit="T1", reading=None, today=TODAY, **more):
    if odometer is not None:
        q = read_quantity(odometer, "distance")
        more |= {"odometer_km": q.value, "odometer_entered": q.entered, "odometer_unit": q.unit}
    entry = VisitEntry(unit=unit, **({"position": "main", "visited_on": TODAY, "meter_a": 5.05} | more))
    with open_ledger(ledger) as connection:
        return {q.code: q.text for q in check_visit(connection, entry, reading, today=today)}


def test_an_ordinary_visit_raises_no_question(ledger):
    assert ask(ledger, "57900 mi", supply_v=13.4, fuel_pressure_kpa=395) == {}


@pytest.mark.parametrize(
    ("odometer", "code", "says"),
    [
        ("54000 mi", "odometer-below-last", "54,000 mi is below the unit's last reading (last: 55,000 mi)"),
        ("93200 mi", "odometer-kilometres", "was 93,200 read in kilometres? That would be 57,912 mi"),
        ("579000 mi", "odometer-digit", "57,900 mi would be as this unit drives"),
        ("5790 mi", "odometer-digit", "a digit too many, too few, or swapped?"),
        ("75900 mi", "odometer-digit", "57,900 mi"),
        ("57900 km", "odometer-miles", "57,900 read in miles? That would be 93,181 km"),
        ("81000 mi", "odometer-too-far", "much farther than this unit drives"),
    ],
)
def test_odometer_that_does_not_fit_the_units_own_mileage(ledger, odometer, code, says):
    asked = ask(ledger, odometer)
    assert list(asked) == [code]
    assert says in asked[code]


def test_an_odometer_in_the_other_unit_is_told_in_the_fleets_own_as_well(ledger):
    with open_ledger(ledger) as connection:
        assert settings_at(connection)["distance_unit"] == "mi"
    assert ask(ledger, "87000 km")["odometer-below-last"].endswith("(In mi: 54,059 mi, the last 55,000 mi.)")


def test_odometer_between_two_known_readings_is_judged_by_both(ledger):
    assert ask(ledger, "47500 mi", visited_on=date(2024, 8, 20)) == {}
    assert "odometer-too-far" in ask(ledger, "53900 mi", visited_on=date(2024, 8, 20))


def test_dates(ledger):
    assert "future-date" in ask(ledger, "57900 mi", visited_on=date(2025, 7, 3))
    assert ask(ledger, "57900 mi", visited_on=date(2025, 7, 2)) == {}  # already tomorrow elsewhere
    assert "old-date" in ask(ledger, "46000 mi", visited_on=date(2024, 6, 20))


@pytest.mark.parametrize(("mean_a", "says"), [(50.5, "about 10 times"), (0.5, "about 1/10 of")])
def test_probe_factor(ledger, mean_a, says):
    asked = ask(ledger, "57900 mi", meter_a=mean_a)
    assert list(asked) == ["probe-factor"]
    assert says in asked["probe-factor"]


@pytest.mark.parametrize(("mean_a", "asked"), [(71.0, True), (0.4, True), (5.0, False), (0.05, False)])
def test_an_unlikely_current_of_a_pump_nobody_knows_is_asked_about(ledger, mean_a, asked):
    questions = ask(ledger, "57900 mi", unit="NEW-1", position="aux", meter_a=mean_a)
    assert ("probe-factor" in questions) == asked


def test_units_007_and_7_are_two_and_asked_about_when_nothing_tells(ledger):
    assert "There are a unit 7 and a unit 007" in ask(ledger, unit="7")["similar-unit"]
    assert "similar-unit" not in ask(ledger, "110900 mi", unit="007", meter_a=6.4)
    assert "unit BUS-12 is on record" in ask(ledger, unit="bus 012")["similar-unit"]


def test_another_units_figures_are_recognised(ledger):
    asked = ask(ledger, "109500 mi", unit="T1", meter_a=6.4)
    assert "like unit 007" in asked["other-unit"]


def test_mangled_identifiers(ledger):
    assert "mangled-identifier" in ask(ledger, unit="Jun-08")
    assert "mangled-identifier" in ask(ledger, unit="1.00E+12")
    assert "mangled-identifier" in ask(ledger, "57900 mi", serial="8-Jun")


def test_volts_and_pressure_far_from_the_units_own(ledger):
    assert "supply-implausible" in ask(ledger, "57900 mi", supply_v=135)
    dead = {"supply_v": 0.2, "meter_a": 0.0}
    assert "supply-implausible" not in ask(ledger, "57900 mi", **dead)
    assert "supply-implausible" not in ask(ledger, "57900 mi", reason="road-call", **dead)
    running = dead | {"meter_a": 5.0}
    assert "supply-implausible" in ask(ledger, "57900 mi", reason="road-call", **running)
    assert "was it read in psi" in ask(ledger, "57900 mi", fuel_pressure_kpa=58)["pressure-unit"]


@pytest.mark.parametrize(
    ("told", "code", "says"),
    [
        ({"fuel_pressure_kpa": 4.0}, "pressure-unit", "4 bar would be 400 kPa; was it read in bar?"),
        ({"fuel_pressure_kpa": 0.39}, "pressure-unit", "0.39 MPa would be 390 kPa"),
        ({"fuel_pressure_kpa": 4 * KPA_PER_PSI}, "pressure-unit", "4 psi is 28 kPa, far below this pump"),
        ({"delivery_l_min": 95.0}, "delivery-unit", "95 L/h would be 1.6 L/min"),
        ({"fuel_temp_c": 77.0}, "temperature-unit", "77 °F would be 25 °C"),
        (
            {"supply_v": 13.6, "supply_v_at": "pump", "drop_supply_v": 13.4},
            "drop-across",
            "was the meter across the pump",
        ),
        ({"supply_v": 13.6, "supply_v_at": "battery", "drop_ground_v": 13.4}, "drop-across", "13.4 V"),
    ],
)
def test_a_value_that_another_unit_explains_is_asked_as_a_load_asks(ledger, told, code, says):
    asked = ask(ledger, "57900 mi", **told)
    assert list(asked) == [code]
    assert says in asked[code]


@pytest.mark.parametrize(
    "told",
    [
        {"fuel_pressure_kpa": 90.0},  # a system that does not deliver
        {"fuel_pressure_kpa": 0.0},
        {"fuel_pressure_kpa": read_quantity("9 psi", "pressure").value},  # its 62 kPa stood on no gauge
        {"delivery_l_min": 0.1},
        {"fuel_temp_c": 58.0},
        {"supply_v": 9.0, "supply_v_at": "pump", "drop_supply_v": 4.6},
        {"supply_v": 0.0, "supply_v_at": "pump", "drop_supply_v": 13.4, "meter_a": 0.02},
        {"supply_v": 13.4, "supply_v_at": "battery", "drop_supply_v": 13.3, "meter_a": 0.02},  # a broken wire
    ],
)
def test_what_a_fault_explains_is_asked_of_no_unit(ledger, told):
    assert not {c for c in ask(ledger, "57900 mi", **told) if c.endswith("-unit") or c == "drop-across"}


def test_a_second_reading_that_is_the_first_in_kilometres(tmp_path):
    visits = [{"unit": "T2", "visited_on": "2025-03-01", "odometer": 5611, "mean_a": 5}]
    load_folder(tmp_path / "l.duckdb", write_visits(tmp_path / "f", visits), author=ANYBODY)
    asked = ask(tmp_path / "l.duckdb", "9030 mi", unit="T2")
    assert "was 9,030 read in kilometres? That would be 5,611 mi" in asked["odometer-kilometres"]


def test_repeating_the_value_does_not_override_a_reason_does(tmp_path):
    ledger = tmp_path / "l.duckdb"
    load_folder(
        ledger, write_visits(tmp_path / "f", steady_visits(), **ONE_UNIT), today=TODAY, author=ANYBODY
    )
    entry = VisitEntry("T1", position="main", visited_on=date(2025, 7, 1), odometer_km=50_000, meter_a=5.0)
    for answers in ({}, {}, {}, {"odometer-below-last": "  "}):
        with pytest.raises(AnswerNeeded):
            log_visit(ledger, entry, answers=answers, author=ANYBODY)
    with open_ledger(ledger) as connection:
        needed = {q.code for q in check_visit(connection, entry, None)}
    logged = log_visit(
        ledger, entry, answers=dict.fromkeys(needed | {"odometer-below-last"}, "new cluster"), author=ANYBODY
    )
    assert logged.stored


def test_an_odometer_after_a_replaced_cluster_counts_on_from_the_old_one(tmp_path):
    ledger = tmp_path / "l.duckdb"
    odometers = "unit,read_on,odometer,source\nT1,2025-04-20,55500,reading\nT1,2025-04-20,0,cluster-replaced"
    folder = write_visits(tmp_path / "f", steady_visits(), odometers=odometers, **ONE_UNIT)
    load_folder(ledger, folder, today=TODAY, author=ANYBODY)
    entered = read_quantity("2400 mi", "distance")
    entry = VisitEntry(
        "T1",
        visited_on=TODAY,
        odometer_km=entered.value,
        odometer_entered=2400.0,
        odometer_unit="mi",
        meter_a=5.0,
    )
    logged = log_visit(
        ledger, entry, author=ANYBODY
    )  # no question: 2,400 on the new cluster are 57,900 in all
    with open_ledger(ledger) as connection:
        rows = connection.execute(
            "SELECT round(odometer_km / 1.609344), odometer_entered FROM visit WHERE visit_id = ?",
            [logged.visit_id],
        ).fetchall()
    assert rows == [(57_900.0, 2400.0)]
    assert not log_visit(
        ledger, entry, author=ANYBODY
    ).stored  # and the same entry again is known as that visit


@pytest.mark.parametrize(
    ("far", "usual", "asked"), [(1.22, 1.22, False), (1.35, 1.35, True), (1.35, 1.0, False)]
)
def test_a_current_a_quarter_off_the_pumps_own_level_is_looked_for_elsewhere(tmp_path, far, usual, asked):
    """Without a doubtful odometer: how far the current lies from the unit's own level, 5 A, tells, and
    whether another unit usually draws as much; one that only lately does has a fault of its own."""
    visits = [v | {"mean_a": 5.0} for v in steady_visits("T1")]
    others = [v | {"mean_a": 5.0 * usual} for v in steady_visits("T2")]
    visits += [*others[:-1], others[-1] | {"mean_a": 5.0 * far}]
    ledger = tmp_path / "l.duckdb"
    load_folder(ledger, write_visits(tmp_path / "f", visits), author=ANYBODY)
    questions = ask(ledger, "57900 mi", unit="T1", meter_a=5.0 * far)
    assert ("other-unit" in questions) == asked
