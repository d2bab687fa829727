"""The documents say what the code does."""

import re
from pathlib import Path

import pytest

from dashboard.cli import COMMANDS, main
from ingest.rules import RULES
from ingest.safety import CAUTIONS, FIRST

ROOT = Path(__file__).parents[1]


def test_every_rule_stands_in_its_document():
    text = (ROOT / "docs/trade_rules.md").read_text(encoding="utf-8")
    for rule in RULES:
        assert f"| `{rule.id}` | {rule.text} | {rule.next_test} |" in text


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
    for target in re.findall(r"\]\(([^)#]+)\)", text):
        if "://" not in target:
            assert ((ROOT / page).parent / target).exists(), f"{page} links to {target}"


@pytest.mark.parametrize("command", sorted(COMMANDS))
def test_command_has_help_with_one_example(command, capsys):
    with pytest.raises(SystemExit) as left:
        main([command, "--help"])
    assert left.value.code == 0
    shown = capsys.readouterr().out
    assert shown.count("example:\n  pumpledger ") == 1


def test_options_are_never_abbreviated(capsys):
    with pytest.raises(SystemExit) as left:
        main(["analyse", "--prob", "100mV/A", "x.csv"])
    assert left.value.code == 2
