"""VIN check digits against published examples."""

import pytest

from ingest.checking.identifiers import check_digit, vin_problem


@pytest.mark.parametrize(
    ("vin", "digit", "source"),
    [
        ("1G4AH59H?5G118341", "4", "49 CFR 565.15(c), sample computation: products sum 411, remainder 4"),
        ("1J9RP1A3?A1644345", "6", "NHTSA outline of the VIN rule: products sum 314, remainder 6"),
        # vininfo 1.11.0 (open-source library) agrees with the following:
        ("1M8GDM9AXKP042788", "X", "products sum 351, remainder 10"),
        ("11111111111111111", "1", "products sum 89"),
        ("5GZCZ43D13S812715", "1", "products sum 408"),
        ("1HGCM82633A004352", "3", "products sum 311"),
        ("SGZCZ43D13S812715", "X", "the check digit it would need"),
        ("1M8GDM9AXKP042787", "8", "the check digit it would need"),
        ("WAUZZZ8K9BA012345", "2", "the check digit it would need; European, need not carry one"),
    ],
)
def test_check_digit(vin, digit, source):
    assert check_digit(vin) == digit


@pytest.mark.parametrize("letter", "IOQ")
def test_letters_a_vin_cannot_have(letter):
    """49 CFR 565.15: the letters I, O and Q are not used."""
    vin = "1HGCM82633A00435" + letter
    assert check_digit(vin) is None
    assert vin_problem(vin).code == "vin-malformed"


def test_same_value_letters_cannot_be_told():
    """49 CFR 565.15(c), table III: B, K, S and 2 all count 2, by design of the rule."""
    assert len({check_digit(f"5GZCZ43D13{c}812715") for c in "BKS2"}) == 1


def test_a_european_vin_without_check_digit_only_warns():
    """49 CFR 565 binds vehicles sold in the United States; ISO 3779 leaves the digit optional."""
    assert vin_problem("WAUZZZ8K9BA012345").code == "vin-unchecked"
