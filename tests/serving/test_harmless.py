"""No command lets text from data steer the terminal it is shown on."""

from __future__ import annotations

import json

import pytest

from dashboard.cli import main
from dashboard.words.terminal import tell_json, tell_rows
from ingest.harmless import harmless, steers
from ingest.ledger.connection import open_ledger
from tests.ledger_fixture import build_ledger

# Clears the screen, sets the window's title, turns letters round (ECMA-48 and Unicode Standard Annex 9).
STEERING = "\x1b[2J\x1b]0;t\x07\x9b2J\u202ex\u2066"


@pytest.fixture(scope="module")
def ledger(tmp_path_factory):
    """A ledger in which names and notes steer, as nothing lets them in today and one of before may hold."""
    path = build_ledger(tmp_path_factory.mktemp("steering") / "fleet.duckdb")
    with open_ledger(path, read_only=False) as con:
        for name, columns in {
            "vehicle": ("unit", "depot", "class", "make"), "pump": ("unit", "serial", "pump_type"),
            "pump_type": ("pump_type",), "visit": ("unit", "technician", "note"),
            "breakdown": ("unit", "note"), "service": ("unit", "note"),
            "question": ("unit", "text"), "bay_hours": ("depot",),
            "stock": ("depot", "pump_type"), "cost_entry": ("source",),
        }.items():  # fmt: skip
            for column in columns:
                con.execute(f"UPDATE {name} SET {column} = {column} || ?", [STEERING])
    return path


@pytest.mark.parametrize(
    "command",
    [("rank", "--all", "--why"), ("plan",), ("cost", "--elements"), ("check",), ("load",), ("questions",),
     ("report", "--day", "--since", "2025-04-08"),
     ("log", "--unit", "101" + STEERING, "--odometer", "1 km", "--meter-a", "5")],
    ids=lambda command: command[0],
)  # fmt: skip
def test_a_command_obeys_no_text_from_data(ledger, tmp_path, capsys, command):
    if command == ("load",):
        (tmp_path / "vehicles.csv").write_text(f"unit,depot{STEERING}\n7{STEERING},N\n", encoding="utf-8")
        command = ("load", str(tmp_path))
    main([*command, "--ledger", str(ledger)])
    said = capsys.readouterr()
    assert said.out + said.err
    assert not steers(said.out + said.err)


def test_json_loses_nothing_by_being_harmless(capsys):
    tell_json({"note": f"ü {STEERING}"})
    line = capsys.readouterr().out
    assert not steers(line)
    assert "ü" in line
    assert json.loads(line) == {"note": f"ü {STEERING}"}


def test_rows_for_a_program_stay_as_they_are(capsys, monkeypatch):
    tell_rows(f"unit,note\n7,{STEERING}\n")
    assert capsys.readouterr().out == f"unit,note\n7,{STEERING}\n"
    monkeypatch.setattr("sys.stdout.isatty", lambda: True, raising=False)
    tell_rows(f"unit,note\n7,{STEERING}\n")
    assert not steers(capsys.readouterr().out)


def test_tabs_ends_of_lines_and_letters_stay():
    text = "a\tb\nc ü Ω 東京 עברית 🚐"
    assert harmless(text) == text
    assert harmless("a\r\nb\rc") == "a\nb\N{REPLACEMENT CHARACTER}c"
