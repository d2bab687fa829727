"""Quantities as people type them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.errors import EntryRefused
from ingest.units import (
    UNITS,
    format_quantity,
    from_kept,
    parse_number,
    parse_quantity,
    read_quantity,
    to_kept,
)


@pytest.mark.parametrize(
    ("text", "kind", "expected"),
    [
        ("88412 mi", "distance", 142285.321728),
        ("88,412 miles", "distance", 142285.321728),
        ("142 285 km", "distance", 142285),
        ("142285,5km", "distance", 142285.5),
        ("58 psi", "pressure", 399.8959),
        ("4 bar", "pressure", 400),
        ("400kPa", "pressure", 400),
        ("400 KPA", "pressure", 400),
        ("25C", "temperature", 25),
        ("25 °C", "temperature", 25),
        ("25 ℃", "temperature", 25),
        ("−10 c", "temperature", -10),
        ("77 °F", "temperature", 25),
        ("77F", "temperature", 25),
        ("-40 deg F", "temperature", -40),
        ("1.2 L/min", "flow", 1.2),
        ("1,2 l/min", "flow", 1.2),
        ("72 L/h", "flow", 1.2),
        ("20 gal/h", "flow", 1.261804),
        ("0.5 gal/min", "flow", 1.892706),
        ("13.4 V", "voltage", 13.4),
        ("180 mV", "voltage", 0.18),
        ("5.1 amps", "current", 5.1),
    ],
)
def test_quantity_is_read_into_the_kept_unit(text, kind, expected):
    assert parse_quantity(text, kind) == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(
    ("text", "kind", "says"),
    [
        ("88412", "distance", "has no unit"),
        ("58 psi", "distance", "'psi' is not a unit of distance"),
        ("25 furlongs", "distance", "use km, mi"),
        ("lots", "pressure", "'58 psi'"),
        ("", "pressure", "is not a number"),
        ("1,234 kPa", "pressure", "1234 or 1.234"),
        ("88.412 km", "distance", "88412 or 88.412"),
        ("1,23,4 km", "distance", "is not a number"),
        ("1.00E+12 km", "distance", "not a unit"),
        ("nan km", "distance", "is not a number"),
        ("10² kPa", "pressure", "is not a number"),
    ],
)
def test_what_cannot_be_told_is_refused_with_a_sentence(text, kind, says):
    with pytest.raises(EntryRefused) as refused:
        parse_quantity(text, kind, field="odometer")
    assert refused.value.text.startswith("odometer: ")
    assert says in refused.value.text


def test_bare_number_is_taken_only_with_a_default_unit():
    assert read_quantity("1000", "distance", default_unit="mi").unit == "mi"
    assert read_quantity("1000 km", "distance", default_unit="mi").value == 1000


def test_number_as_entered_is_kept_beside_the_value():
    odometer = read_quantity("88412 mi", "distance")
    assert (odometer.entered, odometer.unit) == (88412, "mi")


@pytest.mark.parametrize(
    ("text", "expected"),
    [("1,234.5", 1234.5), ("1.234,5", 1234.5), ("1,234,567", 1234567), ("0,125", 0.125), ("-5.00", -5)],
)
def test_decimal_and_thousands_marks(text, expected):
    assert parse_number(text) == expected


@given(st.sampled_from(sorted(UNITS)), st.floats(-1e6, 1e6))
def test_there_and_back(unit, value):
    assert from_kept(to_kept(value, unit), unit) == pytest.approx(value, abs=1e-8)


def test_arrays_convert_like_numbers():
    np.testing.assert_allclose(to_kept(np.array([0.0, 1.0]), "mi"), [0, 1.609344])


def test_shown_in_the_fleets_unit():
    assert format_quantity(142285.321728, "mi") == "88,412 mi"
    assert format_quantity(399.9, "psi") == "58.0 psi"
    assert format_quantity(-0.0001, "°C") == "0 °C"
    assert format_quantity(None, "km") == "–"
    assert format_quantity(float("nan"), "km") == "–"
