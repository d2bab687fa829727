"""The documents say what the code does."""

import re
from dataclasses import fields
from importlib import import_module
from pathlib import Path

import numpy as np
import pytest

from analytics import codes_page
from analytics.judging.rules_page import rules_page
from analytics.judging.safety import CAUTIONS, FIRST
from dashboard.cli import COMMANDS, main
from dashboard.commands.commands_page import OUTPUT, commands_page, options, parsers_by_command
from dashboard.commands.plan import CSV_COLUMNS
from dashboard.commands.rank import JSON_FIELDS
from dashboard.serving import configuration
from dashboard.shell.navigation import PAGES
from dashboard.words.glossary import TERMS
from ingest.fleet_folder.tables import TABLES
from ingest.reading import Reading
from ingest.wording.sentence import codes
from tests import worked_visit

ROOT = Path(__file__).parents[1]


def test_the_rules_page_is_generated_from_the_table():
    assert (ROOT / "docs/trade_rules.md").read_text(encoding="utf-8") == rules_page()


def test_every_caution_stands_in_its_document():
    text = (ROOT / "docs/safety.md").read_text(encoding="utf-8")
    for line in [FIRST, *(f"- {caution} {mark}" for _, caution, mark in CAUTIONS)]:
        assert line in text
    assert FIRST in (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "page", ["README.md", "DEVELOPERS.md", *[f"docs/{p.name}" for p in (ROOT / "docs").glob("*.md")]]
)
def test_links_lead_somewhere(page):
    text = (ROOT / page).read_text(encoding="utf-8")
    for target, heading in re.findall(r"\]\(([^)#]*)(?:#([^)]+))?\)", text):
        if "://" in target:
            continue
        there = (ROOT / page).parent / target if target else ROOT / page
        assert there.exists(), f"{page} links to {target}"
        if heading:
            headings = re.findall(r"^#+ (.*)$", there.read_text(encoding="utf-8"), re.M)
            kept = [re.sub(r"[^\w\- ]", "", words.lower()).replace(" ", "-") for words in headings]
            assert heading in kept, f"{page} links to {target}#{heading}"


@pytest.mark.parametrize("command", sorted(COMMANDS))
def test_command_has_help_with_one_example(command, capsys):
    with pytest.raises(SystemExit) as left:
        main([command, "--help"])
    assert left.value.code == 0
    shown = capsys.readouterr().out
    assert shown.count("example:\n  pumpledger ") == 1


def test_the_page_of_commands_is_generated_from_their_parsers():
    assert OUTPUT.read_text(encoding="utf-8") == commands_page(), (
        "run python -m dashboard.commands.commands_page"
    )


def test_the_page_of_codes_is_generated_from_what_words_them():
    assert codes_page.OUTPUT.read_text(encoding="utf-8") == codes_page.codes_page(), (
        "run python -m analytics.codes_page"
    )


def test_every_code_says_when_it_arises():
    assert not re.findall(r"^\| `[^`]+` \| [^|]*\|  \|$", codes_page.codes_page(), re.M)
    told = {write.__module__ for write in codes().values() if write.__module__.startswith("ingest.")}
    assert told == {module.__name__ for module in codes_page.SECTIONS}


def cells_of(page, heading):
    """The rows of the first table under a heading, as lists of cells."""
    section = (ROOT / page).read_text(encoding="utf-8").split(f"\n## {heading}\n")[1].split("\n## ")[0]
    rows = [line.strip("|").split("|") for line in section.splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in row] for row in rows[2:]]


def test_every_page_is_in_the_table_of_pages_and_no_other():
    text = (ROOT / "docs/pages.md").read_text(encoding="utf-8").split("\n## ")[0]
    told = dict(re.findall(r"^\| `/([a-z-]*)[^`]*` \| ([^|]+?) \|", text, re.M))
    assert told == {page.address: page.title for page in PAGES.values()}


def test_every_part_of_a_page_is_in_the_table_of_parts_and_no_other():
    drawn = [
        (entry.title, part)
        for entry in PAGES.values()
        for part in re.findall(
            r'^ +(?:parts = {|parts\[)?"([A-Z][^"]+)"\]?(?:: | = )(?:lambda: )?\w+\.show_?\w*\b',
            entry.path.read_text(encoding="utf-8"),
            re.M,
        )
    ]
    told = [(row[0], row[1]) for row in cells_of("docs/pages.md", "Parts of pages")]
    assert sorted(told) == sorted(drawn)


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.file)
def test_every_column_of_a_fleet_folder_is_on_its_page(table):
    [cell] = [row[1] for row in cells_of("docs/fleet_folder.md", "Tables") if row[0] == table.file]
    names = re.findall(r"[a-z][a-z0-9_]*", re.sub(r"\([^)]*\)", "", cell))
    assert set(names) - {"and"} == set(table.by_name)
    needed = set(re.findall(r"\*?(\w+)\*? \(\*\*needed", cell))
    assert needed == {column.name for column in table.columns if column.required}
    for column in table.columns:
        for choice in column.choices:
            assert re.search(rf"\b{re.escape(choice)}\b", cell), f"{column.name} may be {choice}"


@pytest.mark.parametrize(
    ("heading", "names"),
    [
        ("analyse --json", ["file", *(f.name for f in fields(Reading)), "verdict"]),
        ("rank --json and --csv", JSON_FIELDS),
        ("plan --csv", CSV_COLUMNS),
    ],
    ids=["analyse", "rank", "plan"],
)
def test_every_column_handed_on_is_on_its_page_once(heading, names):
    told = [name for row in cells_of("docs/exports.md", heading) for name in re.findall(r"`(\w+)`", row[0])]
    assert sorted(told) == sorted(names)


def test_the_glossary_says_what_the_pages_say():
    told = dict(cells_of("docs/glossary.md", "Risk")[: len(TERMS)])
    for text in TERMS.values():
        word, _, meaning = text.partition(": ")
        assert told[word] == meaning[0].upper() + meaning[1:]


def test_the_glossary_explains_each_word_once_and_each_that_it_refers_to():
    text = (ROOT / "docs/glossary.md").read_text(encoding="utf-8")
    rows = [row.split(" | ") for row in re.findall(r"^\| (.+) \|$", text, re.M)]
    words = [word for row in rows if row[0] != "word" for word in row[0].lower().split(", ")]
    assert len(words) == len(set(words)) > 80
    for word in re.findall(r"\*([^*]+)\*", text.split("## At the pump")[1]):
        assert word.lower().rstrip("s") in {each.rstrip("s") for each in words} or word[0].isupper(), word


def test_every_setting_of_the_servers_environment_is_on_the_page_of_pages():
    told = {row[0].strip("`") for row in cells_of("docs/pages.md", "Sign-in")}
    assert {configuration.SIGN_IN, configuration.PUBLIC_URL, configuration.SESSION_HOURS} <= told


def test_every_option_of_every_command_has_its_help():
    mute = [
        f"{name} {action.option_strings or action.dest}"
        for name, parser in parsers_by_command().items()
        for _, action in options(parser)
        if len((action.help or "").split()) < 2
    ]
    assert not mute


NEEDED = {
    "analyse": ["x.csv"],
    "log": ["--unit", "214", "--odometer", "88412 mi"],
    "load": ["fleet"],
    "export": ["out"],
    "add": ["unit", "214"],
    "labels": ["x.html"],
    "move": ["a.duckdb", "b.toml"],
}


@pytest.mark.parametrize("command", sorted(COMMANDS))
def test_the_ledger_is_named_before_or_after_the_command(command, monkeypatch):
    taken = []
    module = import_module(f"dashboard.commands.{command}")
    monkeypatch.setattr(module, "run", lambda args: taken.append((args.ledger, args.verbose)) or 1)
    monkeypatch.setenv("PUMPLEDGER", "usual.duckdb")
    rest = NEEDED.get(command, [])
    for words in (
        [command, *rest],
        ["--ledger", "rank", command, *rest],  # a ledger may bear a command's name
        ["--ledger=a.duckdb", "--verbose", command, *rest],
        [command, "--ledger", "a.duckdb", *rest],
        ["--ledger", "b.duckdb", command, *rest, "--ledger", "a.duckdb"],
    ):
        assert main(words) == 1
    assert taken == [
        (Path(name), name == "a.duckdb" and i == 2)
        for i, name in enumerate(["usual.duckdb", "rank", "a.duckdb", "a.duckdb", "a.duckdb"])
    ]


def test_a_ledger_option_without_its_file_is_a_usage_error(capsys):
    with pytest.raises(SystemExit) as left:
        main(["--ledger"])
    assert left.value.code == 2
    assert "--ledger: expected one argument" in capsys.readouterr().err


def test_options_are_never_abbreviated(capsys):
    with pytest.raises(SystemExit) as left:
        main(["analyse", "--prob", "100mV/A", "x.csv"])
    assert left.value.code == 2


def test_the_worked_visit_shows_what_the_program_draws_and_says(tmp_path):
    [case] = [case for case in worked_visit.CASES if case.name == "open_coil"]
    samples, turn_ms = worked_visit.record(case)
    told = worked_visit.answer(case, worked_visit.write_capture(samples, tmp_path / "open_coil.csv"))
    assert worked_visit.part(case.name) == worked_visit.block(case, told), "run python -m tests.worked_visit"
    made = worked_visit.drawing(case, samples, turn_ms)
    drawn = (worked_visit.DRAWINGS / "open_coil.svg").read_text(encoding="utf-8")
    assert len(drawn) < 60_000
    for here, there in zip(lines_of(made), lines_of(drawn), strict=True):  # to a pixel, on any machine
        assert np.percentile(here, [0, 10, 50, 90, 100], axis=0) == pytest.approx(
            np.percentile(there, [0, 10, 50, 90, 100], axis=0), abs=1
        )


def lines_of(svg):
    """The points of each line of a drawing."""
    return [
        np.array([pair.split(",") for pair in points.split()], float)
        for points in re.findall(r'polyline points="([^"]+)"', svg)
    ]


def test_the_worked_visit_comes_to_what_its_page_says(tmp_path):
    for number, told in enumerate(worked_visit.visit(tmp_path, worked_visit.VISIT[:-1]), 1):
        assert worked_visit.part(f"visit {number}") == told, "run python -m tests.worked_visit"
