"""Every command that README, docs and help texts tell a user to type is one that there is, and runs."""

import re
import shlex
import shutil
from importlib import import_module
from pathlib import Path

import numpy as np
import pytest

from dashboard.cli import COMMANDS, command_parser, main
from demo_fleet.capture_text import as_text
from ingest.fleet_folder.export import export_ledger
from ingest.ledger.connection import open_ledger
from ingest.ledger.tables import table_names
from tests.ledger_fixture import build_ledger, small_capture

ROOT = Path(__file__).parents[1]
TEXTS = {
    path.name: path.read_text(encoding="utf-8")
    for path in (ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md")))
}
PLACE = re.compile(r"…|\[|\b[A-Z]{4,}\b(?!=)")  # stands for something that a reader has to fill in
# Commands that other tests run with their options: these work a fleet's risks out, serve, or take long.
ELSEWHERE = {
    "rank": "risk/test_rank.py",
    "plan": "scheduling/test_plan_exports.py",
    "cost": "cost_review/test_cost_review.py",
    "report": "reports/test_month.py",
    "backtest": "pages/test_small_fleets.py",
    "load": "fleet_folder/test_load_folder.py",
    "log": "visit/test_log_visit_command.py",
    "demo": "demo_fleet/test_demo_command.py",
    "serve": "serving/test_serve.py",
    "move": "ledger/server_cases.py",
    "forget": "ledger/test_forgetting.py",
    "export": "fleet_folder/test_export.py",
}
HERE_TOO = ("cost --elements", "cost --set", "load fleet_folder --propose")
NOT_ON_A_FILE = ("--ledger fleet.toml",)  # tests/ledger/test_server_ledger.py
DRAWN = "worked_visit.md"  # whose captures tests/test_docs.py makes
UNITS = {"101": "412", "104": "214"}  # of the small ledger, by the documents' names
FIRST = {  # what has to be on record before
    "take": "clamp blue --factor 1V/A",
    "clamp blue --known": "clamp blue --factor 1V/A",
}


def commands_said():
    """Each command, with where it is said first: whole lines, what stands within a line, examples of help."""
    out = {}
    for page, text in TEXTS.items():
        if page == "commands.md":  # holds the help texts' own examples
            continue
        lines = re.findall(r"^    (?:uv run |.*&& uv run )?pumpledger (.*)$", text, re.M)
        lines += re.findall(r"`(?:uv run )?pumpledger ([^`\n]* [^`\n]*)`", text)
        for line in lines:
            out.setdefault(re.split(r"\s+#", line)[0].strip(), page)
    for name in COMMANDS:
        example = import_module(f"dashboard.commands.{name}").EXAMPLE
        out.setdefault(example.removeprefix("pumpledger "), f"{name} --help")
    return {line: where for line, where in out.items() if not PLACE.search(line)}


SAID = commands_said()
RUN = [
    line
    for line, where in SAID.items()
    if (line.split()[0] not in ELSEWHERE or line.startswith(HERE_TOO))
    and where != DRAWN
    and not line.endswith(NOT_ON_A_FILE)
]


def test_every_command_said_is_spelled_as_the_parsers_want_it(capsys):
    parser = command_parser(COMMANDS)
    assert len(SAID) > 70
    for line, where in SAID.items():
        try:
            parser.parse_args(shlex.split(line))
        except SystemExit:
            pytest.fail(f"{where} says 'pumpledger {line}': {capsys.readouterr().err.splitlines()[-1]}")


@pytest.mark.parametrize("name", ELSEWHERE)
def test_a_command_not_run_here_is_run_elsewhere(name):
    text = (ROOT / "tests" / ELSEWHERE[name]).read_text(encoding="utf-8")
    assert re.search(rf'"{name}"|commands.{name}', text)


def test_every_module_said_to_be_run_is_there():
    told = {name for text in TEXTS.values() for name in re.findall(r"python -m ([\w.]+\w)", text)}
    assert len(told) > 10
    ours = [ROOT / name.replace(".", "/") for name in told if not re.search(r"[A-Z]{2}", name)]
    ours = [path for path in ours if (ROOT / path.relative_to(ROOT).parts[0]).is_dir()]
    assert not [path for path in ours if not (path.with_suffix(".py").exists() or path.is_dir())]


@pytest.fixture(scope="module")
def stage(tmp_path_factory):
    """A folder with what the commands name: captures, a fleet folder, and the small ledger as base.duckdb."""
    folder = tmp_path_factory.mktemp("stage")
    ledger = build_ledger(folder / "base.duckdb", fitted=True)
    with open_ledger(ledger, read_only=False) as connection:
        for table in table_names(connection):
            if "unit" in {row[0] for row in connection.execute(f"DESCRIBE {table}").fetchall()}:
                for old, new in UNITS.items():
                    connection.execute(f"UPDATE {table} SET unit = ? WHERE unit = ?", [new, old])
    export_ledger(ledger, folder / "fleet_folder")
    current = small_capture(seconds=0.1).current_a
    for place in ("demo/fleet/captures/first.csv", "captures/monday/412.csv"):
        (folder / place).parent.mkdir(parents=True, exist_ok=True)
        (folder / place).write_text(as_text("comma-seconds", current, 50_000))
    volts = np.column_stack([np.arange(len(current)) / 50_000, np.zeros(len(current)), current / 10])
    np.savetxt(folder / "visit.csv", volts, "%.6f", ",", header="Time (s),CH1 (V),CH2 (V)", comments="")
    return folder


@pytest.mark.parametrize("line", RUN)
def test_a_command_said_runs(line, stage, tmp_path, monkeypatch, capsys):
    monkeypatch.delenv("PUMPLEDGER", raising=False)
    monkeypatch.setenv("PUMPLEDGER_PUBLIC_URL", "https://pumps.example")
    monkeypatch.chdir(stage)
    shutil.copyfile(stage / "base.duckdb", stage / "pumpledger.duckdb")
    if line.startswith("add "):  # which begins from nothing
        monkeypatch.chdir(tmp_path)
    for begins, before in FIRST.items():
        if line.startswith(begins):
            assert main(shlex.split(before)) == 0
    words = [
        found
        for word in shlex.split(line)
        for found in (sorted(map(str, stage.glob(word))) if "*" in word else [word])
    ]
    assert main(words) == 0, capsys.readouterr().err
