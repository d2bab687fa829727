"""Days on which a depot's bays are open."""

from __future__ import annotations

from datetime import date

import numpy as np

from analytics.wording import say
from ingest.settings_in_force import Settings

STALE_DAYS = 14  # older facts: their date is said first


def stale(last_fact: date, today: date) -> bool:
    """Return whether the newest fact is so old that its date must be said first."""
    return (today - last_fact).days > STALE_DAYS


def as_of_sentence(last_fact: date) -> str:
    """Return the sentence that says so."""
    return say("as-of", day=last_fact)


class Workdays:
    """The working days of each depot, from the settings `workdays` and `closed_days`."""

    def __init__(self, settings: Settings):
        self._open = settings["workdays"]
        self._closed = settings["closed_days"]
        self._made: dict[str, np.busdaycalendar] = {}

    def calendar(self, depot: object) -> np.busdaycalendar:
        """Return a depot's calendar; one without a list of its own follows the list of ""."""
        name = depot if isinstance(depot, str) and depot in self._open else ""
        key = depot if isinstance(depot, str) else ""
        if key not in self._made:
            days = {int(d) for d in self._open.get(name, [1, 2, 3, 4, 5])} or {1, 2, 3, 4, 5}
            closed = [*self._closed.get("", []), *self._closed.get(key, [])]
            mask = [d in days for d in range(1, 8)]
            self._made[key] = np.busdaycalendar(weekmask=mask, holidays=np.array(closed, "datetime64[D]"))
        return self._made[key]

    def is_open(self, day: date, depot: object) -> bool:
        """Return whether the depot works on a day."""
        return bool(np.is_busday(np.datetime64(day, "D"), busdaycal=self.calendar(depot)))

    def forward(self, days: np.ndarray, depots: np.ndarray) -> np.ndarray:
        """Return the first open day from each day on, datetime64[D] (n,); depots (n,)."""
        out = days.astype("datetime64[D]")
        for depot in set(depots):
            mine = depots == depot
            out[mine] = np.busday_offset(out[mine], 0, roll="forward", busdaycal=self.calendar(depot))
        return out
