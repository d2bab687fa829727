"""A speed is told only from enough turns, samples a ripple and quantisation steps."""

import pytest

from ingest.measuring.quality import speed_gates


@pytest.mark.parametrize(
    ("turns", "samples", "steps", "told", "codes"),
    [
        (5.1, 8.1, 2.6, False, []),
        (2.1, 6.1, 2.6, True, []),
        (4.9, 8.1, 2.6, False, ["too-few-turns"]),
        (1.9, 6.1, 2.6, True, ["too-few-turns"]),
        (5.1, 7.9, 2.6, False, ["sampled-too-slowly"]),
        (5.1, 5.9, 2.6, True, ["sampled-too-slowly"]),
        (5.1, 8.1, 2.4, False, ["range-too-coarse"]),
    ],
)
def test_gates(turns, samples, steps, told, codes):
    notes = speed_gates(turns=turns, samples_a_ripple=samples, ripple_steps=steps, segments_told=told)
    assert [note.code for note in notes] == codes


def test_noise_that_stirs_the_codes_lets_fewer_steps_do():
    given = {"turns": 20.0, "samples_a_ripple": 9.0, "segments_told": True}
    assert not speed_gates(**given, ripple_steps=1.6, noise_steps=0.5)
    assert speed_gates(**given, ripple_steps=1.4, noise_steps=0.5)
    assert speed_gates(**given, ripple_steps=1.6, noise_steps=0.2)


def test_the_segments_are_asked_for_where_telling_them_would_do():
    (note,) = speed_gates(turns=20.0, samples_a_ripple=7.0, ripple_steps=10.0, segments_told=False)
    assert "say how many the pump has" in note.text
    (note,) = speed_gates(turns=20.0, samples_a_ripple=5.0, ripple_steps=10.0, segments_told=False)
    assert "say how many" not in note.text


def test_a_speed_at_odds_with_the_last_visits_needs_as_much_as_unknown_segments():
    for turns, samples in ((4.0, 50.0), (20.0, 7.0)):
        given = {"turns": turns, "samples_a_ripple": samples, "ripple_steps": 10.0, "segments_told": True}
        assert not speed_gates(**given)
        (note,) = speed_gates(**given, at_odds=True)
        assert "segments" not in note.text


def test_an_unusual_speed_needs_more_turns():
    given = {"samples_a_ripple": 9.0, "ripple_steps": 10.0, "segments_told": True, "unusual": True}
    assert speed_gates(turns=4.0, **given)
    assert not speed_gates(turns=5.1, **given)
