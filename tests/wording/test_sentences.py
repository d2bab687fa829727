"""What is stored is a code and values; the sentence is made from them, in one place."""

import inspect
import json
import re

import pytest

from ingest.capture import Note
from ingest.wording import file_notes, measuring_notes, questions, sentence
from ingest.wording.odometer_questions import odometer_question
from ingest.wording.options import without_options
from ingest.wording.sentence import codes, said
from ingest.wording.stored import notes_from, question_text, stored_note, stored_question

EXAMPLES = {
    "str": ["A", "mV"], "float": [0.125, 1234.567], "int": [1, 12_000], "bool": [True, False],
    "str | None": ["A", None], "float | None": [1.5, None], "int | None": [3, None],
    "list[str]": [["A"], ["A", "B"]], "list[float]": [[1.0], [3000.0, 6000.0]], "list[int]": [[7], [7, 8]],
}  # fmt: skip
NAMED = {
    "refusal": ["It is cut short."],
    "unit": ["mi", "km"],
    "own": [None, "km"],
    "rows": [[3], [1, 2]],
    "delimiter": [";", None],
    "decimal": [",", "."],
}


def examples(write):
    """Values of each kind for the arguments of what words a code."""
    kinds = {name: p.annotation for name, p in inspect.signature(write).parameters.items()}
    choices = {name: NAMED.get(name) or EXAMPLES[kind] for name, kind in kinds.items()}
    for turn in range(max(map(len, choices.values()), default=1)):
        yield {name: values[turn % len(values)] for name, values in choices.items()}


@pytest.mark.parametrize(("code", "variant"), sorted(codes()))
def test_each_remark_is_one_plain_sentence_whatever_its_values(code, variant):
    for values in examples(codes()[code, variant]):
        text = said(code, values | ({"variant": variant} if variant else {}))
        assert re.match(r"[A-Z0-9']|mV|mi|km", text), text
        assert text[-1] in ".?)", text
        assert not re.search(r"[{}\n]|None|  ", text), text


def test_a_note_comes_back_from_the_ledger_as_it_was_made():
    made = (
        measuring_notes.zero_corrected(0.031),
        measuring_notes.speed_open([6001.5, 3000.75], False),
        file_notes.probe_applied("mV", 0.1, None),
    )
    kept = json.dumps([stored_note(note) for note in made])
    assert "subtracted" not in kept
    assert notes_from(kept) == made


def test_what_a_ledger_kept_before_values_were_is_said_as_it_was():
    [note] = notes_from('[{"code": "clipped", "level": "warning", "text": "Cut off at the top."}]')
    assert note == Note("clipped", "warning", "Cut off at the top.")
    assert stored_note(note)["text"] == "Cut off at the top."  # and is kept so again
    assert notes_from(None) == ()


def test_a_remark_nobody_words_any_longer_loses_nothing():
    [note] = notes_from('[{"code": "gone", "level": "info", "values": {"hz": 50}}]')
    assert note.text == "gone: hz 50."
    assert said("clipped", {"other": 3}) == "clipped: other 3."


def test_a_question_comes_back_from_the_ledger_as_it_was_asked():
    for asked in (
        questions.future_date("2031-01-02", "2026-03-01"),
        odometer_question("odometer-digit", 160_934.4, 16_093.4, "mi", last_km=15_000.0),
        odometer_question("odometer-too-far", 160_934.4, float("nan"), "km", own="mi", other_unit="T2"),
    ):
        kept = stored_question(asked)
        assert kept["text"] is None
        assert question_text(asked.code, **kept) == asked.text
    assert question_text("odometer-jump", None, "Is it right?") == "Is it right?"  # kept without values
    assert question_text("odometer-jump", float("nan"), "Is it right?") == "Is it right?"  # as a frame has it


def test_another_language_is_another_set_of_sentences_for_the_same_values(monkeypatch):
    kept = json.dumps([stored_note(measuring_notes.mains_beside(50.02, 50))])
    monkeypatch.setitem(
        sentence._writers,
        ("mains-hum", "beside"),
        lambda line_hz, mains_hz: f"Netzbrummen: {line_hz:.1f} Hz.",
    )
    assert [note.text for note in notes_from(kept)] == ["Netzbrummen: 50.0 Hz."]


def test_a_sentence_loses_the_options_of_a_command_where_there_is_none():
    said = "Which channel? Say --channel with one of: A, B. Give it with --probe, for example --probe 10mV/A."
    assert without_options(said) == "Which channel? Choose one of: A, B. Give it, for example 10mV/A."
    assert "columns channel and probe" in questions.capture_not_taken(said).text
    assert "columns" not in questions.capture_not_taken("x.csv: it is damaged; save it again.").text
