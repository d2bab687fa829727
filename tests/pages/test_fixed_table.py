"""A table for a terminal fits, wraps whole words, and obeys no text from data."""

from dashboard.words.fixed_table import WIDTH, Column, fixed_table


def test_text_that_steers_a_terminal_is_shown_and_not_obeyed():
    lines = fixed_table([Column("unit"), Column("note")], [["7\x1b[2J", "red\x1b[31m\nline"]])
    assert lines[1] == "7\ufffd[2J  red\ufffd[31m line"


def test_a_long_last_text_is_wrapped_whole():
    words = " ".join(f"word{i}" for i in range(40))
    lines = fixed_table([Column("unit"), Column("note")], [["7", words]])
    assert max(map(len, lines)) <= WIDTH
    assert " ".join(" ".join(lines[1:]).split()) == f"7 {words}"
