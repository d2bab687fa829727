"""From typed fields to a visit entry."""

import pytest

from dashboard.entry_form import MOST_REMINDERS, entry_from, reminders
from ingest.errors import EntryRefused


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
    assert len(reminders(bare)) == MOST_REMINDERS
    full = entry_from(
        {"unit": "1", "odometer": "5", "state": "idle", "supply_v": "13", "fuel_pressure": "4 bar"},
        distance_unit="mi",
    )
    assert reminders(full) == []
