"""A ledger of a released schema kept sentences: they are read, shown and written out as they were."""

import duckdb
import pandas as pd
import pytest

from dashboard.data.queries import ask
from dashboard.parts.settling import question_table
from ingest.fleet_folder.export import export_ledger
from ingest.ledger.connection import open_ledger
from tests.ledger.killed_upgrades import make_old

NOTE = '[{"code": "clipped", "level": "warning", "text": "Cut off at the top."}]'


@pytest.fixture
def earlier(tmp_path):
    ledger = tmp_path / "fleet.duckdb"
    make_old(ledger, 5)
    with duckdb.connect(str(ledger)) as con:
        con.execute(
            "INSERT INTO question (question_id, raised_at, table_name, row_key, unit, field, code, text)"
            " VALUES (1, now(), 'vehicle', '1', '1', 'vin', 'same-vin', 'Is 1 the same as 2?')"
        )
        con.execute(
            "INSERT INTO reading (reading_id, visit_id, origin, method_version, notes, recorded_at)"
            " VALUES (1, 1, 'capture', 3, ?, now())",
            [NOTE],
        )
    with open_ledger(ledger, read_only=False):
        pass
    return ledger


def test_an_earlier_question_is_shown_as_it_was_asked(earlier):
    rows = ask(
        earlier, "open_questions", code=None, find="", depots=[], classes=[], types=[], rows=10, skip=0
    )
    assert list(question_table(rows)["Question"]) == ["Is 1 the same as 2?"]


def test_earlier_sentences_are_written_out(earlier, tmp_path):
    export_ledger(earlier, tmp_path / "out")
    [question] = pd.read_csv(tmp_path / "out/ledger/question.csv").to_dict("records")
    [reading] = pd.read_csv(tmp_path / "out/ledger/reading.csv").to_dict("records")
    assert (question["code"], question["text"]) == ("same-vin", "Is 1 the same as 2?")
    assert reading["notes_text"] == "Cut off at the top."
