"""A reading in words: what a technician is told of it."""

import re
from dataclasses import replace

import pytest

from analytics.judging.segments import below_others_pct
from analytics.judging.verdict import judge_reading
from dashboard.parts.reading_panel import action_sentence
from dashboard.words.reading import reading_lines
from ingest.reading import Reading

READING = Reading(5.0, 0.01, 4.8, 5.2, 0.4, 8.0, 9.0, 10.0, 6000.0, 1.0, 8, 0.99, method_version=1)


@pytest.mark.parametrize(
    ("profile", "weakest", "below_pct"),
    [
        # Eight bars act in pairs: 8, 8.2, 5, 8.4 % of the mean; the middle of the other three is 8.2.
        ((8.0, 8.2, 5.2, 8.4, 8.0, 8.2, 4.8, 8.4), 3, 3.2),
        # Five bars each have their own: the middle of 8, 8.2, 8.4 and 9 is 8.3.
        ((8.0, 8.2, 6.0, 8.4, 9.0), 3, 2.3),
        ((), None, None),
    ],
)
def test_the_weakest_segment_is_told_in_percent_of_the_average(profile, weakest, below_pct):
    reading = replace(READING, segment_profile_pct=profile, weakest_segment=weakest)
    assert below_others_pct(profile, weakest) == (below_pct and pytest.approx(below_pct))
    told = [line for line in reading_lines(reading) if line.startswith("segments")]
    assert told == (
        [f"segments    weakest no. {weakest}, {below_pct:.1f} % of average below the others"]
        if weakest
        else []
    )


def test_both_ripple_figures_are_told_apart():
    ripple = next(line for line in reading_lines(READING) if line.startswith("ripple"))
    assert "0.40 A, 8.0 % of average (averaged over turns)" in ripple
    assert "plain rule (highest − lowest) / average 9.0 %" in ripple


def test_no_figure_is_shown_more_exactly_than_it_is_known():
    sure = replace(READING, mean_a_se=0.0001, rpm_se=0.001, speed_confidence=1.0)
    text = "\n".join(reading_lines(sure))
    assert "5.000 ± under 0.001 A" in text
    assert "10.000 ms → 6,000.0 ± under 0.1 rpm, 8 segments, over 99 % sure" in text
    rough = replace(READING, mean_a_se=0.03, rpm_se=30.0, speed_confidence=0.957)
    text = "\n".join(reading_lines(rough))
    assert "5.00 ± 0.03 A" in text
    assert "10.0 ms → 6,000 ± 30 rpm, 8 segments, 95 % sure" in text


def test_the_verdict_cites_its_rule_and_what_it_was_held_against():
    lines = reading_lines(
        READING, judge_reading(READING, specification={"current_low_a": 6, "current_high_a": 8})
    )
    text = "\n".join(lines)
    assert "[average-below]" in text
    assert "Compared with specification 6–8 A" in text
    assert "next test   check circuit: Measure volts and both drops at the pump under load." in text
    assert "action" not in text  # said once


def test_no_action_is_said_once_with_the_next_capture():
    verdict = judge_reading(READING, specification={"current_low_a": 4, "current_high_a": 7})
    lead, sentence = action_sentence(verdict)
    assert lead == "Next capture"
    assert re.fullmatch(r"by \d{4}-\d{2}-\d{2}\.", sentence)
    action = next(line for line in reading_lines(READING, verdict) if line.startswith("action"))
    assert re.fullmatch(r"action      no action; next capture by \d{4}-\d{2}-\d{2}\.", action)
