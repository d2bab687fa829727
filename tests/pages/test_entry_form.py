"""From typed fields to a visit entry."""

import pytest

from dashboard.parts.entry_form import MOST_QUESTIONS, baseline_words, entry_from, reminders
from ingest.errors import EntryRefused
from ingest.trade_numbers import DEFAULTS


def test_units_are_parsed_and_kept_as_entered():
    entry = entry_from(
        {"unit": " 101 ", "odometer": "88,412 mi", "supply_v": "13.4", "fuel_pressure": "58 psi",
         "fuel_temp": "77 F", "done": ["filter"], "state": "idle"},
        distance_unit="mi",
    )  # fmt: skip
    assert entry.unit == "101"
    assert entry.odometer_km == pytest.approx(142_285.3, abs=0.1)
    assert (entry.odometer_entered, entry.odometer_unit) == (88412, "mi")
    assert entry.supply_v == 13.4
    assert entry.fuel_pressure_kpa == pytest.approx(399.9, abs=0.1)
    assert entry.fuel_temp_c == pytest.approx(25)
    assert entry.done == ("filter",)


def test_a_bare_odometer_takes_the_fleets_unit():
    assert entry_from({"unit": "1", "odometer": "1000"}, distance_unit="km").odometer_km == 1000


@pytest.mark.parametrize(
    ("typed", "named"),
    [({}, "Unit"), ({"unit": "1", "odometer": "many"}, "Odometer"),
     ({"unit": "1", "fuel_pressure": "58"}, "Fuel pressure")],
)  # fmt: skip
def test_a_field_that_cannot_be_taken_is_named(typed, named):
    with pytest.raises(EntryRefused) as refused:
        entry_from(typed, distance_unit="mi")
    assert named in refused.value.text


def test_at_most_three_reminders():
    bare = entry_from({"unit": "1"}, distance_unit="mi")
    assert len(reminders(bare)) == MOST_QUESTIONS
    full = entry_from(
        {"unit": "1", "odometer": "5", "state": "idle", "supply_v": "13", "fuel_pressure": "4 bar"},
        distance_unit="mi",
    )
    assert reminders(full) == []


def test_questions_leave_less_room_for_reminders():
    bare = entry_from({"unit": "1"}, distance_unit="mi")
    assert [len(reminders(bare, room)) for room in (2, 0, -1)] == [2, 0, 0]


@pytest.mark.parametrize(
    ("visits", "fitted_km", "odometer_km", "says"),
    [
        (0, 90_000.0, 90_010.0, "new and its baseline is due"),
        (0, 90_000.0, 93_000.0, "bedding in"),
        (0, 0.0, 99_000.0, "no baseline of a healthy pump"),
        (0, None, 99_000.0, "begins its baseline"),
        (2, 0.0, 99_000.0, "2 of 3 readings"),
    ],
)
def test_what_todays_capture_is_to_the_baseline(visits, fitted_km, odometer_km, says):
    pump = {"visits": visits, "fitted_odometer_km": fitted_km, "last_odometer_km": None}
    assert says in baseline_words(pump, odometer_km, DEFAULTS)


def test_a_baseline_that_stands_needs_no_word():
    assert baseline_words({"visits": 3, "fitted_odometer_km": 0.0}, 1e5, DEFAULTS) == ""
