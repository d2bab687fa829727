"""Figures by kind of fleet: `python -m tests.benchmarks.second_world.summary [vehicles] [seeds]`."""

from __future__ import annotations

import sys
import time

import numpy as np
import pandas as pd
from scipy.stats import rankdata

from . import build
from .designs import MECHANISMS
from .truth import all_lives, at_visits, past_lives

KINDS = ("standard", "long-lived", "bad-lot")


def area(outcome: np.ndarray, score: np.ndarray) -> float:
    """Area under the ROC curve by ranks (Mann and Whitney), ties shared; nan without both outcomes."""
    n = int(outcome.sum())
    if n in (0, outcome.size):
        return float("nan")
    return float((rankdata(score)[outcome].sum() - n * (n + 1) / 2) / (n * (outcome.size - n)))


def figures(kind: str, vehicles: int, seed: int) -> dict[str, float]:
    """What one fleet's history holds."""
    begun = time.process_time()
    world = build(seed, kind, vehicles)
    run = world.start()
    seconds = time.process_time() - begun
    events = run.log.frame("events", world.fleet)
    years = np.clip(world.history_days - np.maximum(world.fleet.in_service, 0), 0, None).sum() / 365.25
    lives = all_lives(run)
    off = lives[lives["end"] == "taken off"]
    good = past_lives(run, off["u"].to_numpy(), off["pump"].to_numpy())
    left = world.fleet.km.at(off["u"].to_numpy(), good.fail_day)
    left -= world.fleet.km.at(off["u"].to_numpy(), off["removed_day"].to_numpy().astype(float))
    seen = at_visits(run)
    read = seen[seen["got"]]
    odd = read[read["abnormal"]]
    failures = events[events["what"] == "failure"]
    words = run.tables()["breakdowns"]["pump_confirmed"]
    row = {
        "seconds of CPU": seconds,
        "planned stops a vehicle-year": (events["what"] == "planned stop").sum() / years,
        "failures a vehicle-year": len(failures) / years,
        "breakdowns beside the pump a vehicle-year": (events["what"] == "breakdown beside the pump").sum()
        / years,
        "complaints a vehicle-year": (events["what"] == "complaint").sum() / years,
        "pumps taken off a vehicle-year": len(off) / years,
        "of these, over three intervals left": (left > 3 * world.fleet.pm_km(off["u"].to_numpy())).mean(),
        "changes never recorded": (lives["unrecorded"].sum()) / max((lives["pump"] > 0).sum(), 1),
        "breakdowns confirmed as the pump's": (words == "yes").mean(),
        "readings that stand out": read["abnormal"].mean(),
        "of these, beside the pump": odd["beside"].mean(),
        "fail before the next interval": seen["fails"].mean(),
        "all-seeing expected over seen": seen["risk"].mean() / max(seen["fails"].mean(), 1e-9),
        "all-seeing AUC": area(seen["fails"].to_numpy(), seen["risk"].to_numpy()),
        "pumps of a bad lot, of all fitted": lives["is_bad"].mean(),
    }
    shares = np.bincount(failures["detail"], minlength=len(MECHANISMS)) / max(len(failures), 1)
    row.update({f"failures by {name}": share for name, share in zip(MECHANISMS, shares, strict=True)})
    return row


def main(vehicles: int = 200, seeds: int = 8) -> None:
    """Print means over seeds and their standard errors."""
    columns = {}
    for kind in KINDS:
        rows = pd.DataFrame([figures(kind, vehicles, seed) for seed in range(1, seeds + 1)])
        mean, error = rows.mean(), rows.std() / np.sqrt(seeds)
        columns[kind] = [f"{m:8.3f} ± {e:.3f}" for m, e in zip(mean, error, strict=True)]
    print(f"{seeds} fleets of {vehicles} vehicles each, five years")
    print(pd.DataFrame(columns, index=rows.columns).to_string())


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:3]))
