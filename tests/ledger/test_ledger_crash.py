"""Killed at random points of its work, a program loses nothing acknowledged and leaves nothing by halves."""

import os

import pytest

if os.name != "posix":
    pytest.skip("needs kill -9", allow_module_level=True)

from tests.benchmarks.crash import kill_many

pytestmark = pytest.mark.of_a_file


@pytest.mark.parametrize(("work", "kills"), [("log", 8), ("load", 4), ("reanalyse", 5), ("migrate", 5)])
def test_nothing_acknowledged_is_lost_and_nothing_half_written_shows(tmp_path, work, kills):
    tally = kill_many(work, kills, tmp_path)
    assert tally.kills == kills
    assert tally.wrong == []
    assert tally.before_the_end > 0
    assert tally.acknowledged > 0 or work in ("reanalyse", "migrate")  # these acknowledge once, at the end
