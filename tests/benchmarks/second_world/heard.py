"""What a run has recorded since it was last asked: events of units in the order of being taken in."""

from __future__ import annotations

import numpy as np

FIRST, READ, CHECKED, SERVICED, FITTED, AFTER = range(6)  # in this order within a day


def heard(log, taken: dict[str, np.ndarray], today: float) -> tuple[np.ndarray, ...]:
    """Return unit, day, kind of event and row in its table, (events,) each, of what `log` holds by `today`.

    taken: by table, which of its rows were taken in before; these are marked there.
    """
    parts = []
    for name, before in taken.items():
        t = log.columns(name)
        if not t:
            continue
        rows = (t["recorded"] <= today) & (t["day"] <= today)
        rows[: before.size] &= ~before  # the log only grows
        taken[name] = rows.copy()
        taken[name][: before.size] |= before
        if name == "fitted":
            rows &= ~t["lost"]
            what = np.where(t["first"], FIRST, FITTED)
        elif name == "visits":
            what = np.where(t["reason"] == 1, CHECKED, np.where(t["reason"] == 3, AFTER, READ))
        else:
            what = np.full(t["u"].shape, SERVICED)
        r = np.flatnonzero(rows)
        day = np.where(what == FIRST, np.maximum(t["day"], -(10**7)), t["day"])
        parts.append((t["u"][r], day[r], what[r], r))
    return tuple(np.concatenate(x) for x in zip(*parts, strict=True))
