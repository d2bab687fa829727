"""Forecasts as they were told: kept by whoever scores the whole fleet, and held against what came later.

A row is kept for a pump whenever it had a new visit or the fit was a new one; between these a forecast only
ages. Judged are the first forecast after each visit, horizons not overlapping, over the distance each pump
then ran until its horizon, its failure or its removal: with a risk p over a horizon d, exposure r < d counts
-ln(1 - p) r/d failures.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
from scipy import special

from analytics.past.frames import fetch
from analytics.past.history import History
from analytics.record.scores import auc_interval
from ingest.author import PROGRAM
from ingest.errors import LedgerError
from ingest.ledger.connection import open_ledger
from ingest.ledger.rows import insert_rows
from ingest.ledger.transaction import transaction
from ingest.wording.quantities import count

log = logging.getLogger(__name__)
MIN_FAILURES = 5  # below this many nothing is said of ranking
MADE_ANEW = "What follows is made anew for past days, with fits on what was known then."


@dataclass(frozen=True)
class Told:
    """Forecasts as told, held against what came.

    forecasts: how many are judged, of `pumps` pumps, the first told on `since`; expected: failures over the
    distance that the pumps then ran, in 9 of 10 cases between low and high; failed: those seen; taken_off:
    pumps taken off unfailed before their horizon; auc, auc_se: None where people acted or too few failed.
    """

    forecasts: int = 0
    pumps: int = 0
    since: date | None = None
    expected: float = 0.0
    low: int = 0
    high: int = 0
    failed: int = 0
    taken_off: int = 0
    auc: float | None = None
    auc_se: float | None = None

    @property
    def text(self) -> str:
        """What may be said of them, in plain sentences."""
        if not self.forecasts:
            return f"No forecast kept as it was told has come to its end yet. {MADE_ANEW}"
        begin = (
            f"As told since {self.since}: {count(self.forecasts, 'forecast')} of "
            f"{count(self.pumps, 'pump')}, the first after each visit. {self.failed:,} failed before their "
            f"horizon or removal, {self.expected:.1f} were expected over the distance run ({self.low:,} to "
            f"{self.high:,} in 9 of 10 cases)."
        )
        if self.taken_off:
            were = "was" if self.taken_off == 1 else "were"
            off = f"{count(self.taken_off, 'pump')} {were} taken off unfailed"
            how = f" How well they rank can't be told, as {off}."
        elif self.auc is None:
            how = f" Under {MIN_FAILURES} failures nothing can be said of how well they rank."
        else:
            how = f" They rank {100 * self.auc:.0f} of 100 pairs rightly (± {196 * (self.auc_se or 0):.0f})."
        return f"{begin}{how} {MADE_ANEW}"


def keep_told(ledger: Path, table: pd.DataFrame, *, wait_s: float = 3.0) -> int:
    """Keep what `table` (of ranking.rank, each unit over its own interval, as known now) tells that is new;
    return the rows written. A ledger in use by another program is left as it is."""
    fresh = told_rows(table)
    try:
        with open_ledger(ledger) as connection:
            changed = _new_ones(fresh, fetch(connection, "told_newest"))
        if not len(changed):
            return 0
        with (
            open_ledger(ledger, read_only=False, wait_s=wait_s) as connection,
            transaction(connection, PROGRAM, "work") as stamp,
        ):
            insert_rows(connection, "told_forecast", changed.assign(recorded_at=stamp.at))
    except LedgerError as error:
        log.info("What was told is not kept this time: %s", error.text)
        return 0
    return len(changed)


def told_rows(table: pd.DataFrame) -> pd.DataFrame:
    """Return a ranking's running pumps as rows of told_forecast."""
    running = table[table["risk"].notna()]
    share: pd.Series = running["pump_km_per_day"] / np.maximum(running["km_per_day"], 1e-9)
    unit_km = running["horizon_km"] / running["horizon"]
    bands = {"low_km": "distance_left_p10", "middle_km": "distance_left_p50", "high_km": "distance_left_p90"}
    return pd.DataFrame(
        {
            "pump_id": running["pump_id"],
            "told_on": date.fromisoformat(table.attrs["as_of"]),
            "fit_id": table.attrs["fit_id"],
            "visits": running["visits"],
            "run_km": running["distance_on_pump_km"],
            "risk": running["risk"].astype(float),
            "horizon_km": running["horizon_km"] * share,
        }
        | {name: running[band].astype(float) * unit_km for name, band in bands.items()}
    ).reset_index(drop=True)


def _new_ones(fresh: pd.DataFrame, newest: pd.DataFrame) -> pd.DataFrame:
    """Leave out pumps of which the same visits and fit told before, and days before what was told last."""
    last = newest.set_index("pump_id").reindex(fresh["pump_id"])
    visits, fit, day = (last[name].to_numpy() for name in ("visits", "fit_id", "told_on"))
    same = (visits == fresh["visits"].to_numpy()) & (pd.isna(fit) | (fit == fresh["fit_id"].to_numpy()))
    later = pd.to_datetime(pd.Series(day)).to_numpy() > pd.to_datetime(fresh["told_on"]).to_numpy()
    return fresh[~same & ~later]


def judge_told(rows: pd.DataFrame, everything: History) -> Told:
    """Hold forecasts as told (of told_until.sql) against the lives known in `everything`."""
    rows = _apart(rows[rows["pump_id"].isin(everything.pumps["pump_id"])])
    if not len(rows):
        return Told()
    lives = everything.pumps.set_index("pump_id").loc[rows["pump_id"]]
    ran = lives["now_km"].to_numpy(float) - rows["run_km"].to_numpy(float)
    d, p = rows["horizon_km"].to_numpy(float), rows["risk"].to_numpy(float)
    failed, removed = lives["failed"].to_numpy(bool), lives["removed"].to_numpy(bool)
    happened, taken = failed & (ran <= d) & (ran > 0), removed & ~failed & (ran < d) & (ran > 0)
    over = (happened | taken | (ran >= d)) & (d > 0)
    if not over.any():
        return Told()
    hazard = -np.log1p(-np.minimum(p, 1 - 1e-9))
    expected = float((hazard * np.clip(ran / np.maximum(d, 1e-9), 0, 1))[over].sum())
    low, high = (_least_count(level, expected) for level in (0.05, 0.95))
    auc = None
    if not taken.any() and happened.sum() >= MIN_FAILURES and not happened[over].all():
        auc = auc_interval(p[over], happened[over], rows["pump_id"].to_numpy()[over])
    first = date.fromordinal(date(1970, 1, 1).toordinal() + int(rows["day"].to_numpy()[over].min()))
    return Told(
        int(over.sum()), int(rows["pump_id"][over].nunique()), first, expected, low, high,
        int(happened.sum()), int(taken.sum()), auc and auc.value, auc and auc.se,
    )  # fmt: skip


def _least_count(level: float, mean: float) -> int:
    """Return the least count k with P(N ≤ k) ≥ level, N of Poisson's law with this mean > 0."""
    below = max(int(np.ceil(special.pdtrik(level, mean))) - 1, 0)
    return below if special.pdtr(below, mean) >= level else below + 1


def _apart(rows: pd.DataFrame) -> pd.DataFrame:
    """Keep the first forecast after each visit that begins beyond the horizon of the last one kept."""
    keep = np.zeros(len(rows), bool)
    pump, visits, until = -1, -1, -np.inf
    columns = (rows[name].to_numpy() for name in ("pump_id", "visits", "run_km", "horizon_km"))
    for i, (of, seen, run, ahead) in enumerate(zip(*columns, strict=True)):
        if of != pump:
            pump, visits, until = of, -1, -np.inf
        if seen != visits and run >= until:
            keep[i], until = True, run + ahead
        visits = seen
    return rows[keep]
