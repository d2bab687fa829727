"""The data dictionary in the documents is the schema's own, and complete."""

import pytest

from ingest.ledger.connection import open_ledger
from ingest.ledger.data_dictionary import OUTPUT, data_dictionary
from ingest.ledger.tables import table_names


@pytest.fixture(scope="module")
def page():
    return data_dictionary()


@pytest.mark.of_a_file
def test_the_page_is_up_to_date(page):
    assert OUTPUT.read_text(encoding="utf-8") == page, "run python -m ingest.ledger.data_dictionary"


def test_every_table_says_what_it_is(page, tmp_path):
    with open_ledger(tmp_path / "fleet.duckdb", read_only=False) as connection:
        names = table_names(connection)
    assert "visit" in names
    for name in names:
        about = page.split(f"\n## {name}\n")[1].split("\n\n")[0]
        assert about.endswith("."), name


def test_every_column_says_what_it_means(page):
    mute = [line for line in page.splitlines() if line.startswith("|") and line.endswith("|  |")]
    assert not mute
