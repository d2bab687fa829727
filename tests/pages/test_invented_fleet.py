"""A fleet whose records are invented is called so beside its figures, and a real one is not."""

import pytest

from dashboard.cli import main
from dashboard.shell.invented import NOTE
from ingest.author import Author
from ingest.ledger.settings import set_setting
from tests.ledger_fixture import build_ledger
from tests.pages.page_runs import open_page, words


@pytest.fixture
def ledger(tmp_path, monkeypatch):
    path = build_ledger(tmp_path / "fleet.duckdb", fitted=True)
    monkeypatch.setenv("PUMPLEDGER", str(path))
    return path


def test_the_terminal_says_so_beside_the_list_and_keeps_it_out_of_files(ledger, capsys):
    assert main(["rank", "--ledger", str(ledger), "--csv"]) == 0
    assert NOTE not in capsys.readouterr().err
    set_setting(ledger, "records_are", "invented", author=Author("test", "manager"), reason="a demo")
    assert main(["rank", "--ledger", str(ledger), "--csv"]) == 0
    said = capsys.readouterr()
    assert NOTE in said.err
    assert NOTE not in said.out


def test_every_page_says_so(ledger):
    assert NOTE not in words(open_page("open_questions"))
    set_setting(ledger, "records_are", "invented", author=Author("test", "manager"), reason="a demo")
    assert NOTE in words(open_page("open_questions"))
    assert NOTE in words(open_page("log_visit"))
