"""The data dictionary in the documents is the schema's own, and complete."""

import re

from ingest.ledger.data_dictionary import OUTPUT, data_dictionary
from ingest.ledger.migrations import scripts


def test_the_page_is_up_to_date():
    assert OUTPUT.read_text(encoding="utf-8") == data_dictionary(), (
        "run python -m ingest.ledger.data_dictionary"
    )


def test_every_table_says_what_it_is():
    page = data_dictionary()
    for name in re.findall(r"CREATE TABLE (\w+)", scripts()[1].read_text(encoding="utf-8")):
        about = page.split(f"\n## {name}\n")[1].split("\n\n")[0]
        assert about.endswith("."), name
