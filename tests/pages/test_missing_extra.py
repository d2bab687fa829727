"""A ledger on a server where what reaches one is not installed: pages and commands say the same."""

import re
import sys
import tomllib
from pathlib import Path

from dashboard.cli import main
from ingest.extras import how_to_install
from tests.pages.page_runs import open_page, seen

PROJECT = Path(__file__).parents[2] / "pyproject.toml"


def test_a_page_says_what_the_command_line_says(tmp_path, monkeypatch, capsys):
    monkeypatch.setitem(sys.modules, "psycopg", None)
    address = tmp_path / "fleet.toml"
    address.write_text('[server]\nconnection = "host=db.example dbname=pumps user=fleet"\n')
    assert main(["check", "--ledger", str(address)]) == 1
    said = capsys.readouterr().err.strip()
    assert how_to_install("server") in said
    assert "db.example" not in said
    monkeypatch.setenv("PUMPLEDGER", str(address))
    assert [seen(error.value) for error in open_page("log_visit").error] == [said]


def test_an_extra_that_is_named_exists():
    extras = tomllib.loads(PROJECT.read_text(encoding="utf-8"))["project"]["optional-dependencies"]
    root = PROJECT.parent
    code = "".join(p.read_text() for d in ("ingest", "dashboard") for p in (root / d).rglob("*.py"))
    docs = "".join(p.read_text() for p in (root / "docs").glob("*.md"))
    named = re.findall(r"how_to_install\('(.+?)'\)", code) + re.findall(r"pip install '\.\[(.+?)\]'", docs)
    assert {"server", "cluster", "pdf"} <= set(named) <= set(extras)
