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


def test_long_names_are_wrapped_in_their_column_and_push_nothing_off_the_line():
    unit, kind = (
        "Old blue tow truck of Uncle Bartholomew",
        "LONG-4108-HIGH-PRESSURE-AND-FLOW-REVISION-C-OF-2016",
    )
    words = " ".join(f"word{i}" for i in range(12))
    columns = [Column("unit"), Column("pump type"), Column("risk", right=True), Column("what to do")]
    heading, *lines = fixed_table(columns, [[unit, kind, "7 %", words]], ["why it is so"])
    assert max(map(len, [heading, *lines])) <= WIDTH
    assert lines[-1].strip() == "why it is so"
    for column, text in zip(("unit", "pump type", "what to do"), (unit, kind, words), strict=True):
        at = heading.index(column)
        end = next((heading.index(c) for c in ("pump type", "risk") if heading.index(c) > at), None)
        told = "".join(line[at:end] for line in lines[:-1])
        assert "".join("".join(told.split()).split("7%")) == "".join(text.split())
