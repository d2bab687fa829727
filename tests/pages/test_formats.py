"""Figures as people read them."""

import pandas as pd
import pytest

from dashboard.words import formats


@pytest.mark.parametrize(
    ("share", "words"),
    [(0.183, "about 1 in 5"), (0.51, "about 1 in 2"), (0.7, "about 7 in 10"), (0.001, "under 1 in 200"),
     (0.95, "almost certain"), (None, "not known"), (0.02, "about 1 in 50")],
)  # fmt: skip
def test_odds_are_words(share, words):
    assert formats.odds(share) == words


def test_small_risks_are_not_shown_as_none():
    assert formats.percent(0.002) == "under 1 %"
    assert formats.percent(0.996) == "over 99 %"
    assert formats.percent(0.9996, 1) == "over 99.9 %"
    assert formats.percent(1) == "100 %"
    assert formats.percent(0) == "0 %"
    assert formats.percent(None) == "–"


def test_an_error_never_reads_as_none():
    assert formats.with_error(5.0512, 0.003, "A") == "5.051 ± 0.003 A"
    assert formats.with_error(5.0512, 0.02, "A") == "5.05 ± 0.02 A"
    assert formats.with_error(5.0512, 0.0, "A") == "5.051 ± under 0.001 A"
    assert formats.with_error(6028.4, 0.02, "rpm", 0) == "6,028.4 ± under 0.1 rpm"
    assert formats.with_error(5.0512, None, "A") == "5.05 A"
    assert formats.with_error(None, None, "A") == "–"


def test_confidence_is_shown_no_finer_than_it_is_known():
    assert formats.confidence(1.0) == "over 99 %"
    assert formats.confidence(0.9931) == "over 99 %"
    assert formats.confidence(0.978) == "97 %"
    assert formats.confidence(0.002) == "under 1 %"
    assert formats.confidence(None) == "–"


def test_every_action_has_a_shape_of_its_own():
    assert len(set(formats.ACTION_SHAPES.values())) == len(formats.ACTION_SHAPES)
    from analytics.judging.action import ACTIONS

    assert set(formats.ACTION_SHAPES) >= {*ACTIONS, "check and change"}
    assert formats.action("none") == "○ No action"


def test_formula_cells_are_made_harmless_and_negatives_stay():
    frame = pd.DataFrame({"note": ["=cmd|' /C calc'!A0", "-5.00", "+ok", "fine"], "a": [-5.0, 1.0, 2.0, 3.0]})
    text = formats.as_csv(frame).decode("utf-8-sig")
    assert text.splitlines()[1:] == ["'=cmd|' /C calc'!A0,-5.0", "-5.00,1.0", "'+ok,2.0", "fine,3.0"]


def test_distances_are_shown_in_the_fleets_unit():
    assert formats.distance(142_285.3, "mi") == "88,412 mi"
    assert formats.in_unit(1.609344, "mi") == pytest.approx(1)
    assert formats.in_unit(5.0, "km") == 5.0


def test_an_error_too_small_to_print_is_not_shown_as_none():
    assert formats.with_error(6000, 0.004, "rpm", 0) == "6,000.0 ± under 0.1 rpm"
    assert formats.with_error(5.0518, 0.0001, "A") == "5.052 ± under 0.001 A"
