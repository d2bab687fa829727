"""VINs and unit names that are nearly another's."""

import pytest

from ingest.checking.identifiers import similar_units, similar_vins, unit_key, vin_problem


@pytest.mark.parametrize(
    ("vin", "code", "says"),
    [
        ("1M8GDM9AXKP042788", None, ""),
        ("1m8gdm9axkp042788 ", None, ""),
        ("1M8GDM9AXKP042787", "vin-check-digit", "check digit X where 8 belongs"),
        ("1M8GDM9AXKP04278", "vin-malformed", "has 16 characters, not 17"),
        ("1M8GDM9AXKPO42788", "vin-malformed", "did you mean 1M8GDM9AXKP042788?"),
        ("WAUZZZ8K9BA012345", "vin-unchecked", "outside North America it need not"),
    ],
)
def test_one_vin(vin, code, says):
    problem = vin_problem(vin)
    assert (problem.code if problem else None) == code
    assert not problem or says in problem.text


def test_near_identical_vins_point_at_the_other_unit():
    vins = {
        "a": "1M8GDM9AXKP042788",
        "b": "1M8GDM9AXKP042787",  # one character off, check digit broken
        "c": "1HGCM82633A004352",
        "d": "1hgcm826 33A004352",  # the same, written otherwise
        "e": "1HGCM82613A004351",  # the next one of the same order: both check digits are sound
    }
    assert similar_vins(vins) == {"a": "b", "b": "a", "c": "d", "d": "c"}
    assert similar_vins(vins, among=["b"]) == {"b": "a"}


def test_an_order_of_vins_without_check_digits_is_no_slip():
    assert similar_vins({str(i): f"WAUZZZ8K9BA01234{i}" for i in range(10)}) == {}
    assert similar_vins({"a": "WAUZZZ8K9BA012345", "b": "WAUZZZ8K9CA012345"}) == {"a": "b", "b": "a"}


def test_swap_of_letters_of_the_same_value_is_noticed_between_two_units():
    # B, K, S and 2 have the same value, so the check digit can't tell them apart.
    assert similar_vins({"a": "5GZCZ43D13S812715", "b": "5GZCZ43D13B812715"}) == {"a": "b", "b": "a"}


def test_units_that_are_written_almost_alike():
    units = ["007", "7", "BUS-12", "bus012", "T-1O1", "T101", "T-102", "100", "1000", "10"]
    assert similar_units(units) == {
        "007": ["7"],
        "7": ["007"],
        "BUS-12": ["bus012"],
        "bus012": ["BUS-12"],
        "T-1O1": ["T101"],
        "T101": ["T-1O1"],
    }
    assert unit_key("POOL") != unit_key("P001")
