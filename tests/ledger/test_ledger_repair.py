"""A repair killed at any step is finished by the next opening; nothing is begun beside what is left."""

import json
import os
import subprocess
import sys

import pytest

from ingest.errors import LedgerError
from ingest.ledger.connection import open_ledger
from ingest.ledger.damage import change_file
from ingest.ledger.repair_mark import mark_of

pytestmark = pytest.mark.of_a_file


@pytest.mark.skipif(os.name != "posix", reason="needs kill -9")
def test_a_killed_repair_leaves_the_damaged_ledger_or_is_finished(tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "tests.ledger.killed_repairs", tmp_path], capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert found["wrong"] == []
    assert found["unmarked"] > 3
    assert found["finished"] > 10


@pytest.mark.parametrize("left", ["fleet.duckdb.wal", "fleet.duckdb.damaged-20260101T000000Z"])
def test_no_new_ledger_is_begun_beside_what_is_left_of_one(tmp_path, left):
    (tmp_path / left).write_bytes(b"what is left")
    with (
        pytest.raises(LedgerError, match="is left of one"),
        open_ledger(tmp_path / "fleet.duckdb", read_only=False),
    ):
        pass
    assert not (tmp_path / "fleet.duckdb").exists()
    assert (tmp_path / left).read_bytes() == b"what is left"


@pytest.mark.parametrize("read_only", [True, False])
def test_a_mark_that_cannot_be_read_is_refused_and_nothing_changed(tmp_path, read_only):
    ledger = tmp_path / "fleet.duckdb"
    with open_ledger(ledger, read_only=False):
        pass
    before = ledger.read_bytes()
    mark_of(ledger).write_text("{")
    with pytest.raises(LedgerError, match="broken off"), open_ledger(ledger, read_only=read_only):
        pass
    assert ledger.read_bytes() == before
    assert not change_file(ledger).exists()
