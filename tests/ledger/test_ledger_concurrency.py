"""Several processes log and read at once: every acknowledged visit is there exactly once."""

import pytest

from tests.benchmarks.concurrency import run

pytestmark = pytest.mark.of_a_file


def test_nothing_is_lost_doubled_or_half_written_and_no_lock_is_spoken_of(tmp_path):
    found = run(tmp_path / "fleet.duckdb", writers=3, readers=2, seconds=8)
    assert found["acknowledged"] > 0
    assert len(found["open_s"]) > 0
    assert found["stored"] == found["acknowledged"]
    assert found["lost"] == found["twice"] == 0
    assert found["problems"] == []
    assert found["sentences"] == []
