"""A repair of which nothing is on record is mostly a pump change: what is read after it has its own level."""

import numpy as np
import pandas as pd
import pytest

from analytics.past.normalise import UNSAID_WORK_SD, channels, nominal
from tests.fleet_frames import history_from_tables
from tests.learning.test_without_failures import tables

UNIT = "U01"
STOPS = slice(2, 4)  # in the middle of its five


def opened(*, work: str | None = None, after: tuple[bool, ...] = (True, False)) -> np.ndarray:
    """How far its own load's level is open at two stops, in standard deviations; after: which follow a
    repair; work: on record the day before the first of them."""
    made = tables()
    visits = made["visits"]
    rows = visits.index[visits["unit"] == UNIT][STOPS]
    visits.loc[rows[np.array(after)], "reason"] = "after-repair"
    if work:
        visit = visits.loc[rows[0]]
        done = {"unit": UNIT, "done_on": visit["visited_on"] - np.timedelta64(1, "D"), "work": work}
        made["services"] = pd.concat(
            [made["services"], pd.DataFrame([done | {"odometer": visit["odometer"]}])], ignore_index=True
        )
    made["visits"]["supply_v"] = 13.6  # other volts would open it, too
    history = history_from_tables(made, 1.0, "2023-08-01")
    pump = history.pumps.index[history.pumps["unit"] == UNIT][0]
    mine = np.flatnonzero(history.visits["pump"] == pump)[STOPS]
    return np.sqrt(channels(history.visits, history.pumps, nominal()).beside_load.opened[mine])


def test_a_level_opens_once_after_a_repair_that_nobody_wrote_down():
    assert opened(after=(False, False)) == pytest.approx(0)
    assert opened() == pytest.approx([UNSAID_WORK_SD["load"], 0])
    assert opened(after=(True, True)) == pytest.approx([UNSAID_WORK_SD["load"], 0])  # captured again


def test_what_is_on_record_says_itself_what_was_done():
    assert opened(work="connector") == pytest.approx(0)
