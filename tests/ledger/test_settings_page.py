"""The page of settings says what the program offers, and what each is."""

import pytest

from ingest.ledger.settings_page import OUTPUT, settings_page
from ingest.trade_numbers import SETTINGS


def test_the_page_is_up_to_date():
    assert OUTPUT.read_text(encoding="utf-8") == settings_page(), "run python -m ingest.ledger.settings_page"


@pytest.mark.parametrize("name", SETTINGS)
def test_a_setting_says_what_it_is_and_where_it_comes_from(name):
    assert len(SETTINGS[name].meaning) > 8
    assert SETTINGS[name].mark in ("S", "W", "P", "")
