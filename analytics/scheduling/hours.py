"""Bay hours of a job."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analytics.judging.beside import IN_TANK
from analytics.money.decision import CAUSE_FOUND, JOBS
from ingest.settings_in_force import Settings

USUAL_JOB_HOURS = 2.5  # of a change, where nobody told a unit's
_, CHECK, CHECK_AND_CHANGE, _ = JOBS


def job_hours(
    pumps: pd.DataFrame, option: np.ndarray, settings: Settings, usual: float = USUAL_JOB_HOURS
) -> np.ndarray:
    """Return bay hours of each pump's job (n,): a change at its unit's hours, a check by the settings, what
    was found as a check of the tank open or closed; zero and drops fit in those of a change.

    pumps: job_hours (NaN: `usual`), because, finding; option (n,): of JOBS.
    """
    change = pumps["job_hours"].astype(float).fillna(usual).to_numpy()
    closed, opened = float(settings["check_closed_hours"]), float(settings["check_open_hours"])
    mends = (option == CHECK) & (pumps["because"] == CAUSE_FOUND).to_numpy()
    inside = pumps["finding"].isin(IN_TANK).to_numpy()
    return np.select(
        [mends & ~inside, mends, option == CHECK, option == CHECK_AND_CHANGE],
        [closed, opened, closed + opened, change + closed],
        change,
    )
