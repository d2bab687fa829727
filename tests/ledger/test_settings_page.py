"""The page of settings says what the program offers, and what each is."""

from typing import get_origin, get_type_hints

import pytest

from ingest.ledger.settings_page import OUTPUT, settings_page
from ingest.settings_in_force import Settings
from ingest.trade_numbers import SETTINGS


def test_the_page_is_up_to_date():
    assert OUTPUT.read_text(encoding="utf-8") == settings_page(), "run python -m ingest.ledger.settings_page"


@pytest.mark.parametrize("name", SETTINGS)
def test_a_setting_says_what_it_is_and_where_it_comes_from(name):
    assert len(SETTINGS[name].meaning) > 8
    assert SETTINGS[name].mark in ("S", "W", "P", "")


def test_every_setting_has_its_kind_and_no_kind_is_of_none():
    """A misspelt name is found by the type checker only where the names are the settings' own."""
    kinds = get_type_hints(Settings)
    assert list(kinds) == list(SETTINGS)
    for name, setting in SETTINGS.items():
        plain = get_origin(kinds[name]) or kinds[name]
        allowed = (int, float) if plain is float else plain
        assert isinstance(setting.default, allowed), name
        assert isinstance(setting.default, bool) == (plain is bool), name
